"""The little dossier with events, credentials and the issuer's document, and a way to check those alone."""

from __future__ import annotations

import io
from collections.abc import Iterator
from functools import cache

from ledger.book.canonical import MAX_ENTRY_BYTES
from ledger.book.checkpoint import Checkpoint, check_checkpoint, parse_checkpoint
from ledger.book.entry import read_entry
from ledger.book.signing import format_verifier
from ledger.evidence.archive import Archive
from ledger.evidence.credential import make_credential
from ledger.evidence.credentials_check import CredentialsCheck
from ledger.evidence.did_web import did_document
from ledger.evidence.dossier import DossierEntry
from ledger.evidence.dossier_layout import parse_layout
from ledger.evidence.entry_facts import fold_facts, read_records
from ledger.evidence.entry_read import ProvedEntries
from ledger.evidence.event_facts import EventFacts, told_entry
from ledger.evidence.events import Events
from ledger.evidence.events_check import EventsCheck
from ledger.evidence.judged import judged_in
from ledger.line.rows import BookKey
from tests.evidence.small_dossier import (
    KEY,
    ORIGIN,
    SUBMISSIONS,
    HandMadeBook,
    ball_rows,
    content,
    made_book,
    members,
    sheet,
    standing_facts,
    written,
)
from tests.evidence.test_credential import DID, PLANT, RULEBOOKS, ground
from tests.evidence.test_data_integrity import PUBLIC, SIGNER

UNITS = ("U-1", "U-2")
ISSUED = (
    *SUBMISSIONS,
    [
        {
            "kind": "key-introduced",
            "key": SIGNER.name,
            "purpose": "credential",
            "verifier": format_verifier(SIGNER.verifier),
            "at": "2025-02-13T08:00:00.000+00:00",
        }
    ],
)


@cache
def issued_book() -> HandMadeBook:
    """The little book with a key for credentials."""
    return made_book(ISSUED)


@cache
def issued_keys() -> tuple[BookKey, ...]:
    """Its keys."""
    return tuple(fold_facts(standing_facts(issued_book()).values()).all_of(BookKey))


def entries() -> list[DossierEntry]:
    """The entries of the dossier; the supplier is withheld, the note about a person erased."""
    made = issued_book()
    found = [made.entry(index) for index in (*range(10), 11, 12, 13)]
    found[2] = made.entry(2, erased=frozenset({"0/note"}))
    found[4] = made.entry(4, withheld=frozenset({"0/supplier"}))
    return found


def events_of(found: list[DossierEntry]) -> Iterator[tuple[str, bytes]]:
    """The events of both balls, told from these entries."""
    told = {one.index: told_entry(one.raw, {opening.path: opening.value for opening in one.openings}) for one in found}
    facts = EventFacts(UNITS.__contains__, told.__getitem__)
    for one in told.values():
        facts.take(one.entry, one.records)
    maker = Events(PLANT, facts)
    yield from ((unit, maker.of_ball(ball_rows(unit), judged_in(sheet(unit).tables))) for unit in UNITS)


@cache
def issued_dossier() -> bytes:
    """The good dossier."""
    head = parse_checkpoint(issued_book().note)
    credentials = [(unit, make_credential(sheet(unit), ground(unit, head=head), SIGNER)) for unit in UNITS]
    return written(
        content(
            checkpoint=issued_book().note,
            keys=issued_keys(),
            entries=entries(),
            events=list(events_of(entries())),
            credentials=credentials,
            did=did_document(DID, [PUBLIC]),
        )
    )


@cache
def files() -> dict[str, bytes]:
    """Its files by name."""
    return members(issued_dossier())


def check_events(raw: bytes) -> None:
    """Check the events of a dossier whose other files are good."""
    archive = Archive(io.BytesIO(raw))
    checked = EventsCheck(archive, ORIGIN, ProvedEntries(archive))
    for index in parse_layout(archive.names).indexes:
        name = f"entries/{index}.json"
        entry = read_entry(archive.read(name, MAX_ENTRY_BYTES))
        checked.take(entry, read_records(entry.said.records, name))
    for unit in UNITS:
        checked.check(ball_rows(unit), judged_in(sheet(unit).tables))


def head() -> Checkpoint:
    """The head of the little book with a key for credentials, its signature checked."""
    return check_checkpoint(issued_book().note, [KEY], ORIGIN)


def check_credentials(raw: bytes, now_ms: int | None = None) -> None:
    """Check the credentials of a dossier whose other files are good."""
    checked = CredentialsCheck(Archive(io.BytesIO(raw)), head(), RULEBOOKS, issued_keys(), now_ms)
    for unit in UNITS:
        checked.check(ball_rows(unit), sheet(unit))
