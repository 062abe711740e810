"""The dossier of the tests at its fullest: a closed lot, two witnesses, a policy, a time stamp that nobody reads here."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from typing import Any

from ledger.book.merkle import root
from ledger.book.policy import parse_policy
from ledger.book.signing import Signer, format_verifier, signer_from_seed
from ledger.book.witness import add_cosignatures, cosign
from ledger.conformity.rulebook import rulebook_digest
from ledger.evidence.dossier import DossierContent, DossierEntry
from ledger.evidence.dossier_format import LotBall, LotPage, Scope
from ledger.evidence.lot_check import ball_leaf
from ledger.evidence.trust import Trust
from ops.commands.verify_dossier import parse_term
from tests.evidence.small_dossier import KEY, RULEBOOK, SUBMISSIONS, HandMadeBook, content, made_book, written

SEEN_S = 1_741_000_000
"""When the witnesses cosigned: 2025-03-03, two days after the last entry was recorded."""

WITNESSES: tuple[Signer, ...] = tuple(
    signer_from_seed(f"witness.example/{name}", hashlib.sha256(name.encode()).digest(), "witness")
    for name in ("north", "south")
)

BALLS = {"U-1": "2345ACDFG", "U-2": "2345ACDFH", "U-9": "2345ACDFK"}
LEAVES = tuple(ball_leaf(unit, serial) for unit, serial in sorted(BALLS.items()))
CLOSED = {
    "kind": "lot-closed",
    "lot": "S1",
    "count": len(BALLS),
    "balls_root": root([bytes.fromhex(leaf) for leaf in LEAVES]).hex(),
    "at": "2025-02-20T08:00:00.000+00:00",
}
ADOPTED = {
    "kind": "rulebook-adopted",
    "rulebook": "house",
    "digest": rulebook_digest(RULEBOOK),
    "at": "2025-02-20T09:00:00.000+00:00",
}
SAID = (*SUBMISSIONS, [CLOSED], [ADOPTED])
CLOSING = f"{len(SUBMISSIONS)}.0"

KEYS = "\n".join([KEY, *(format_verifier(one.verifier) for one in WITNESSES)])


def policy_text(threshold: str = "all") -> str:
    """A policy that trusts the book's key, and so many of the two witnesses."""
    lines = [f"log {KEY}", *(f"witness {one.name} {format_verifier(one.verifier)}" for one in WITNESSES)]
    lines += [f"group both {threshold} {' '.join(one.name for one in WITNESSES)}", "quorum both", ""]
    return "\n".join(lines)


def trust_of(text: str, now_ms: int | None = None) -> Trust:
    """What a reader trusts: verifier lines, or a policy; and the time by the reader's clock."""
    if "quorum" in text:
        return Trust(keys=(), policy=parse_policy(text.encode()), now_ms=now_ms)
    return Trust(keys=[parse_term(line) for line in text.split("\n")], now_ms=now_ms)


def cosigned(note: bytes, witnesses: Iterable[Signer] = WITNESSES, at_seconds: int = SEEN_S) -> bytes:
    """A checkpoint with cosignatures after the log's own."""
    for witness in witnesses:
        note = add_cosignatures(note, cosign(note, witness, at_seconds))
    return note


@cache
def closed_book() -> HandMadeBook:
    """The little book, with its lot closed and its rulebook adopted, under a cosigned checkpoint."""
    made = made_book(SAID)
    return replace(made, note=cosigned(made.note))


def lot_page(**more: Any) -> LotPage:
    """The page of the lot: two of its three balls are here."""
    here = [LotBall(unit=unit, place=place, serial=BALLS[unit]) for place, unit in enumerate(("U-1", "U-2"))]
    fields: dict[str, Any] = {
        "lot": "S1",
        "closed": CLOSING,
        "count": len(BALLS),
        "balls_root": CLOSED["balls_root"],
        "leaves": LEAVES,
        "units": tuple(here),
    }
    return LotPage(**(fields | more))


def entries_of(made: HandMadeBook, leave_out: Iterable[int] = (10,)) -> list[DossierEntry]:
    """The entries of a book as this dossier tells them: the supplier withheld, the note about a person erased."""
    entries = {index: made.entry(index) for index in range(len(made.raws)) if index not in set(leave_out)}
    if 2 in entries:
        entries[2] = made.entry(2, erased=frozenset({"0/note"}))
    if 4 in entries:
        entries[4] = made.entry(4, withheld=frozenset({"0/supplier"}))
    return list(entries.values())


def full_content(**more: Any) -> DossierContent:
    """Everything that this dossier holds."""
    fields: dict[str, Any] = {
        "scope": Scope(kind="serials", words="serials 2345ACDFG and 2345ACDFH"),
        "checkpoint": closed_book().note,
        "entries": entries_of(closed_book()),
        "lots": [lot_page()],
        "tokens": {"tsa-1": b"no response of any authority"},
    }
    return content(**(fields | more))


@cache
def full_dossier() -> bytes:
    """The good dossier."""
    return written(full_content())
