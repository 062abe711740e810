"""Dossiers whose events, credentials, report or stations' signatures say something else, under digests and a signature that fit.

A browser holds none of these parts against the entries: each row names the words with which the page says so.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from functools import cache, partial
from typing import Any

import msgspec
from msgspec import UNSET

from ledger.book.checkpoint import parse_checkpoint
from ledger.book.signing import Signer, signer_from_seed
from ledger.evidence.adding_report import add_report
from ledger.evidence.credential import make_credential
from ledger.evidence.did_web import did_document
from ledger.evidence.dossier_format import REPORT
from ledger.evidence.event_shapes import Body, Event, format_events, parse_events
from tests.evidence.reported import made
from tests.evidence.seals import in_own_thread, seal_key
from tests.evidence.signed_entries import INTRODUCED, OTHER, REVOKED, SAYS, STATION, signed_dossier
from tests.evidence.small_dossier import KEY, SEALER, archived, dossier, members, resealed, sheet
from tests.evidence.tampered_archives import Change, Files, Tampering, bit_in, swapped_contents
from tests.evidence.tampered_contents import replaced
from tests.evidence.test_credential import DID, ground
from tests.evidence.test_data_integrity import PUBLIC, SIGNER
from tests.evidence.whole_dossier import whole_book, whole_dossier, whole_files

STRANGER = signer_from_seed("stranger", bytes(32), "credential")

PARTS_UNCHECKED = "Whether these say what the entries say: events, credentials, did.json"
REPORT_UNCHECKED = f"{PARTS_UNCHECKED}, report.pdf."
STATION_UNCHECKED = "The stations' own signatures on 1 entry."

Told = Callable[[tuple[Event, ...]], tuple[Event, ...]]


@cache
def reported_dossier() -> bytes:
    """The whole dossier with its report, sealed."""
    return with_report(sealed(whole_dossier()))


@cache
def sealed(raw: bytes) -> bytes:
    """The report of a dossier under a seal."""
    return in_own_thread(lambda: seal_key().seal(made(raw)).pdf)


def with_report(pdf: bytes) -> bytes:
    """The whole dossier with that file as its report, everything else in order."""
    out = io.BytesIO()
    add_report(io.BytesIO(whole_dossier()), pdf, out, SEALER)
    return out.getvalue()


def whole_anew(change: Change) -> bytes:
    """The changed files of the whole dossier under new digests and a new signature."""
    return resealed(change(whole_files()))


def report_anew(change: Callable[[bytes], bytes]) -> bytes:
    """The whole dossier with a changed report, under new digests and a new signature."""
    files = members(reported_dossier())
    return resealed({**files, REPORT: change(files[REPORT])})


def events_changed(change: Told, files: Files) -> Files:
    """The events of U-2 told otherwise, in their right form."""
    name = "events/U-2.jsonld"
    document = parse_events(files[name])
    told = msgspec.structs.replace(document, body=Body(events=change(tuple(document.body.events))))
    return {**files, name: format_events(told)}


def event_with(place: int, **fields: Any) -> Told:
    """One event with other fields."""
    return lambda told: (*told[:place], msgspec.structs.replace(told[place], **fields), *told[place + 1 :])


def hashes_reversed(files: Files) -> Files:
    """The events of U-2 with their hashes in another order."""
    name = "events/U-2.jsonld"
    document = parse_events(files[name])
    return {**files, name: format_events(msgspec.structs.replace(document, hashes=document.hashes[::-1]))}


def issued_anew(signer: Signer, files: Files, **more: Any) -> Files:
    """The credential of U-1 of another ground, or by another signer."""
    head = parse_checkpoint(whole_book().note)
    raw = make_credential(sheet("U-1"), ground("U-1", **{"head": head, **more}), signer)
    return {**files, "credentials/U-1.json": raw}


def by_a_stranger(files: Files) -> Files:
    """Credential and issuer's document by a key that no entry introduces."""
    return {**issued_anew(STRANGER, files), "did.json": did_document(DID, [STRANGER.verifier.public])}


def page_changed(pdf: bytes) -> bytes:
    """The report with one bit of a page changed; the dossier in it is the same."""
    at = pdf.index(b"stream\n") + 30
    return pdf[:at] + bytes([pdf[at] ^ 1]) + pdf[at + 1 :]


def bit_anywhere(name: str) -> bytes:
    """The whole dossier with its report, in which one bit of a file is another, and nothing is signed anew."""
    return archived(bit_in(name, members(reported_dossier())))


def _part(change: Change, where: str) -> Tampering:
    return Tampering(partial(whole_anew, change), where, unchecked=PARTS_UNCHECKED)


def _told(change: Told) -> Tampering:
    return _part(partial(events_changed, change), "events/U-2.jsonld")


def _claimed(old: bytes, new: bytes) -> Tampering:
    return _part(partial(replaced, "credentials/U-1.json", old, new), "credentials/U-1.json")


def _report(make: Callable[[], bytes]) -> Tampering:
    return Tampering(make, REPORT, unchecked=REPORT_UNCHECKED)


def _station(said: list[list[dict[str, Any]]], signed: Mapping[int, Signer], change: bytes = b"") -> Tampering:
    where = f"entries/{max(signed)}.json"
    return Tampering(partial(signed_dossier, said, signed, change), where, KEY, STATION_UNCHECKED)


EVENTS: Mapping[str, Tampering] = {
    "an event left out": _told(lambda told: told[1:]),
    "the last event left out": _told(lambda told: told[:-1]),
    "an event changed": _told(event_with(8, disposition="non_conformant")),
    "when an event was": _told(lambda told: event_with(0, event_time=told[1].event_time)(told)),
    "an event twice": _told(lambda told: (*told, told[-1])),
    "two events in another order": _told(lambda told: (told[1], told[0], *told[2:])),
    "an error that is not declared": _told(event_with(7, error=UNSET)),
    "the events of another ball": _part(
        partial(swapped_contents, "events/U-1.jsonld", "events/U-2.jsonld"), "events/U-1.jsonld"
    ),
    "the hashes of two events in each other's place": _part(hashes_reversed, "events/U-2.jsonld"),
    "events that are none": _part(lambda files: {**files, "events/U-1.jsonld": b"{}\n"}, "events/U-1.jsonld"),
    "a bit": Tampering(partial(bit_anywhere, "events/U-2.jsonld"), "events/U-2.jsonld"),
}
"""What EPCIS documents tell otherwise than the entries."""

CREDENTIALS: Mapping[str, Tampering] = {
    "a claim": _claimed(b'"15.1"', b'"15.0"'),
    "an outcome": _claimed(b'"conforms"', b'"fails"'),
    "a proof": _claimed(b'"proofValue":"z', b'"proofValue":"z2'),
    "a proof left out": _claimed(b'"proof":{', b'"prooof":{'),
    "another claim, signed by the right key": _part(
        partial(issued_anew, SIGNER, entered="2025-02-28T12:00:00.000+00:00"), "credentials/U-1.json"
    ),
    "a proof by a stranger": _part(partial(issued_anew, STRANGER), "credentials/U-1.json"),
    "a stranger's credential and document": _part(by_a_stranger, "did.json"),
    "the credential of another ball": _part(
        partial(swapped_contents, "credentials/U-1.json", "credentials/U-2.json"), "credentials/U-1.json"
    ),
    "another giver": _part(
        lambda files: {**files, "did.json": did_document("did:web:id.example.org", [PUBLIC])}, "credentials/U-1.json"
    ),
    "a giver's document that is none": _part(lambda files: {**files, "did.json": b"{}\n"}, "did.json"),
    "a bit": Tampering(partial(bit_anywhere, "credentials/U-1.json"), "credentials/U-1.json"),
    "a bit of the giver's document": Tampering(partial(bit_anywhere, "did.json"), "did.json"),
}
"""What credentials claim otherwise than the sheets, or under another's name."""

REPORTS: Mapping[str, Tampering] = {
    "another dossier in it": _report(lambda: with_report(sealed(dossier()))),
    "a byte of a page under a seal": _report(lambda: report_anew(page_changed)),
    "bytes behind the seal": _report(lambda: report_anew(lambda pdf: pdf + b"% more\n")),
    "a digit in the dossier in it": _report(lambda: report_anew(lambda pdf: pdf.replace(b"15100000", b"15000000", 1))),
    "no file in it": _report(lambda: report_anew(lambda pdf: pdf.replace(b"/EmbeddedFile\n", b"/EmbeddedFyle\n"))),
    "a text": _report(lambda: report_anew(lambda _pdf: b"no PDF at all")),
    "a byte of it, with nothing signed anew": Tampering(partial(bit_anywhere, REPORT), REPORT),
}
"""What the report holds or shows otherwise."""

STATIONS: Mapping[str, Tampering] = {
    "a station that no entry introduces": _station([[SAYS]], {2: STATION}),
    "another station than the one known": _station([[INTRODUCED], [SAYS]], {3: OTHER}),
    "a station that introduces itself": _station([[INTRODUCED]], {2: STATION}),
    "a station whose key was revoked": _station([[INTRODUCED], [REVOKED], [SAYS]], {4: STATION}),
    "a signature over other bytes": _station([[INTRODUCED], [SAYS]], {3: STATION}, b" "),
}
"""Entries under a signature that no station could have given."""
