"""Little books whose entries bear stations' signatures, and the dossiers of them: keys and losses alone, without balls."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import msgspec

from ledger.book.canonical import encode
from ledger.book.checkpoint import sign_checkpoint
from ledger.book.entry import entry_hash, format_entry, read_entry, said_fields
from ledger.book.envelope import SAID_TYPE, sign_envelope
from ledger.book.merkle import root
from ledger.book.signing import Signer, format_verifier, signer_from_seed
from ledger.evidence.dossier_format import Scope
from ledger.evidence.entry_facts import fold_facts
from ledger.line.fact import Fact
from ledger.line.rows import BookKey
from tests.evidence.small_dossier import LOG, ORIGIN, SUBMISSIONS, HandMadeBook, content, made_book, written

STATION = signer_from_seed(f"{ORIGIN}/e1", hashlib.sha256(b"a station of the tests").digest(), "station")
OTHER = signer_from_seed(f"{ORIGIN}/e2", hashlib.sha256(b"another station of the tests").digest(), "station")
AT = "2025-02-13T08:00:00.000+00:00"
INTRODUCED = {
    "kind": "key-introduced", "key": STATION.name, "purpose": "station", "verifier": format_verifier(STATION.verifier),
    "station": "E1", "at": AT,
}  # fmt: skip
REVOKED = {"kind": "key-revoked", "key": STATION.name, "reason": "replaced", "at": AT}
SAYS = {
    "kind": "pieces-lost",
    "lot": "S1",
    "count": 1,
    "how": "scrap",
    "reason": "cracked",
    "note": "by A. Person",
    "at": AT,
}


def signed_book(
    said: Sequence[list[dict[str, Any]]], signed: Mapping[int, Signer], change: bytes = b""
) -> HandMadeBook:
    """The book of these entries from index 2 on, those of ``signed`` under that station's signature.

    ``change`` stands in what a station signs, after what is entered.
    """
    made = made_book((*SUBMISSIONS[:2], *said))
    raws: list[bytes] = []
    for raw in made.raws:
        entry = read_entry(raw)
        if raws:
            entry = msgspec.structs.replace(entry, prev=entry_hash(raws[-1]).hex())
        if entry.index in signed:
            body = encode(said_fields(entry.said)) + change
            entry = msgspec.structs.replace(entry, signature=sign_envelope(SAID_TYPE, body, signed[entry.index]))
        raws.append(format_entry(entry))
    hashes = [entry_hash(raw) for raw in raws]
    return replace(made, raws=raws, note=sign_checkpoint(ORIGIN, len(raws), root(hashes), [LOG]))


def signed_dossier(said: Sequence[list[dict[str, Any]]], signed: Mapping[int, Signer], change: bytes = b"") -> bytes:
    """The dossier of that whole book."""
    made = signed_book(said, signed, change)
    facts = [
        Fact(index, place, record, "a1", 0)
        for index, records in enumerate(made.records)
        for place, record in enumerate(records)
    ]
    keys = fold_facts(fact for fact in facts if "Key" in type(fact.record).__name__ or fact.index == 0).all_of(BookKey)
    return written(
        content(
            scope=Scope(kind="selection", words="keys alone"),
            checkpoint=made.note,
            keys=keys,
            entries=[made.entry(index) for index in range(len(made.raws))],
            balls=[],
            rulebooks=(),
        )
    )
