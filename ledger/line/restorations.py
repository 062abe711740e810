"""A book that was restored from a backup older than what others had seen of it: said openly, with what is missing.

Whoever saw a later head keeps it, and it will never fit this book again.  The entry says which heads those are, so that
nobody has to find out, and so that the service may start although they lie ahead of it (`ledger.store.restored`).
A book that was moved to a store which is gone, and goes on in the one that it was moved from, says so in the same way.
"""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Meta, UnsetType

from ledger.errors import Contradiction
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Digest, Part, Record, Slug
from ledger.line.state import State

Size = Annotated[int, Meta(ge=1, le=2**53 - 1, description="entries of a book")]


class HeadSeen(Part, frozen=True, kw_only=True):
    """A head of this book that is known elsewhere: so many entries under this root."""

    size: Size
    root: Digest


class BookRestored(Record, frozen=True, kw_only=True, tag="book-restored"):
    """The book goes on after its entry ``size`` - 1, and what came after that in ``seen`` is lost.

    ``copy``: the id of the copy by which the book had been moved, and which is gone; then ``seen`` may be empty.
    """

    size: Size
    seen: Annotated[tuple[HeadSeen, ...], Meta(max_length=100)] = ()
    copy: Slug | UnsetType = UNSET
    reason: Slug


def _check(record: BookRestored, _state: State, setting: Setting) -> list[Breach]:
    if record.size > setting.index:
        raise Contradiction(
            "the book was never restored to this size",
            expected=f"at most {setting.index}",
            got=record.size,
            where="size",
        )
    if not record.seen and record.copy is UNSET:
        raise Contradiction(
            "nothing of the book is said to be missing",
            expected="heads that lie ahead of the backup, or the copy that is gone",
            where="seen",
            mend="a book that lost nothing needs no such entry",
        )
    for place, head in enumerate(record.seen):
        if head.size <= record.size:
            raise Contradiction(
                "nothing of this head is missing",
                expected=f"more than {record.size} entries",
                got=head.size,
                where=f"seen[{place}].size",
                mend="name the heads that lie ahead of the backup alone",
            )
    return []


def _effects(_fact: Fact, _state: State) -> None:
    """It changes no row: what it says is read from the entry."""


BOOK_RESTORED = Kind(BookRestored, "decision", lambda _record, _state: (), _check, _effects, lambda _record: ())
