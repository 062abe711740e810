"""An earlier checkpoint, kept elsewhere, held against the book as it is now: whether the book only grew since.

The answer is the service's own.  Who does not trust it asks for ``/consistency`` and checks the proof with another program.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from ledger.book.checkpoint import UnverifiedCheckpoint, check_checkpoint, check_extends, parse_checkpoint
from ledger.book.key_terms import check_checkpoint_in_term
from ledger.errors import ConsistencyFailed, LedgerError, MalformedCheckpoint, SignatureRejected
from ledger.store.commit import load_checkpoint_terms
from ledger.store.reader import Reader

LONGEST = 20_000
"""Characters of a checkpoint with all signatures that one might have."""

Outcome = Literal["extends", "same", "other-book", "not-signed", "wrong-term", "larger", "differs"]


class Compared(msgspec.Struct, frozen=True, kw_only=True):
    """What became of a checkpoint. ``size`` and ``root`` are what it states, ``now`` the entries of the book now.

    extends: its entries stand unchanged at the beginning of the book.  same: the book is as it states.  other-book: it
    names ``origin``.  not-signed: no key of this book signed it.  wrong-term: a key of this book signed it, for a size at
    which that key did not speak.  larger: it states more entries than there are.  differs: its entries are not those
    of the book.
    """

    outcome: Outcome
    origin: str
    size: int
    root: str
    now: int


def compare_checkpoint(reader: Reader, origin: str, newest: bytes, text: str) -> Compared:
    """Hold a pasted checkpoint against the book; ``newest`` is the book's own newest. O(log n) rows.

    Raises MalformedCheckpoint, MalformedNote for text that is none.
    """
    note = _note_of(text)
    old, size = parse_checkpoint(note), reader.head().size

    def told(outcome: Outcome) -> Compared:
        return Compared(outcome=outcome, origin=old.origin, size=old.tree_size, root=old.root_hash.hex(), now=size)

    if old.origin != origin:
        return told("other-book")
    terms = load_checkpoint_terms(reader.transaction)
    try:
        check_checkpoint(note, [term.verifier for term in terms], origin)
    except SignatureRejected:
        return told("not-signed")
    except ConsistencyFailed:
        return told("differs")
    try:
        check_checkpoint_in_term(note, terms, origin=origin)
    except LedgerError:
        return told("wrong-term")
    if old.tree_size > size:
        return told("larger")
    return told(_outcome(reader, old, parse_checkpoint(newest)))


def _outcome(reader: Reader, old: UnverifiedCheckpoint, newest: UnverifiedCheckpoint) -> Outcome:
    """Of two checkpoints of this book the later must extend the earlier."""
    first, last = sorted((old, newest), key=lambda one: one.tree_size)
    try:
        check_extends(first, last, reader.consistency(first.tree_size, last.tree_size))
    except ConsistencyFailed:
        return "differs"
    return "same" if first.tree_size == last.tree_size else "extends"


def _note_of(text: str) -> bytes:
    """The note in text that went through a form or a mail. Raises MalformedCheckpoint."""
    if len(text) > LONGEST:
        raise MalformedCheckpoint("text is longer than a checkpoint", expected=f"at most {LONGEST} characters")
    lines = [line.rstrip() for line in text.replace("\r\n", "\n").strip().split("\n")]
    note = "\n".join(lines) + "\n"
    if "\n\n" not in note:
        raise MalformedCheckpoint(
            "text holds no signature",
            expected="the three lines of a checkpoint, an empty line, and its signature lines",
            where="checkpoint",
            mend="paste the whole of it, as it was kept",
        )
    return note.encode("utf-8", "replace")
