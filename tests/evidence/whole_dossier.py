"""A dossier that has every part but a report and an approval file: a closed lot, events, credentials, a token, a table."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from ledger.book.checkpoint import parse_checkpoint
from ledger.evidence.credential import make_credential
from ledger.evidence.did_web import did_document
from ledger.evidence.dossier import DossierEntry
from tests.evidence.issued_dossier import ISSUED, UNITS, events_of, issued_keys
from tests.evidence.small_dossier import HandMadeBook, content, made_book, members, sheet, written
from tests.evidence.test_credential import DID, ground
from tests.evidence.test_data_integrity import PUBLIC, SIGNER
from tests.evidence.witnessed_dossier import CLOSED, KEYS, cosigned, entries_of, lot_page

TRUSTED = tuple(KEYS.split("\n"))


@cache
def whole_book() -> HandMadeBook:
    """The little book with a key for credentials and its lot closed, cosigned."""
    made = made_book((*ISSUED, [CLOSED]))
    return replace(made, note=cosigned(made.note))


@cache
def _entries() -> list[DossierEntry]:
    return entries_of(whole_book())


@cache
def whole_dossier() -> bytes:
    """The good dossier."""
    head = parse_checkpoint(whole_book().note)
    return written(
        content(
            checkpoint=whole_book().note,
            tokens={"tsa-1": b"no response of any authority"},
            keys=issued_keys(),
            did=did_document(DID, [PUBLIC]),
            entries=_entries(),
            lots=[lot_page(closed=f"{len(ISSUED)}.0")],
            events=list(events_of(_entries())),
            credentials=[(unit, make_credential(sheet(unit), ground(unit, head=head), SIGNER)) for unit in UNITS],
        )
    )


@cache
def whole_files() -> dict[str, bytes]:
    """Its files by name."""
    return members(whole_dossier())
