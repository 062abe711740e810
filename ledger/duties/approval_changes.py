"""Changes that a body has to be told: what a handed-over approval file rests on is compared with what stands, and entered.

The comparison is not made here: whoever wires the duty gives the function that makes it (`ledger.application.approval_changes`).
A look at all watched files is made when a service begins, and then whenever an entry was made of a kind that can change what
a file rests on; what was found stays due until the book has it, and the book itself tells what it has.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

from ledger.book.instant import Instant, format_instant
from ledger.line.approval_changes import ApprovalChangeFound, ChangeSort
from ledger.line.submission import Submission
from ledger.store.reader import CHUNK, Reader

_KINDS = (
    *("model-defined", "plan-set", "correction", "gauge-faulted", "shells-poured"),
    *("approval-file-handed-over", "approval-file-answered"),
)
_WORDS = tuple(f'"kind":"{kind}"'.encode() for kind in _KINDS)
"""In canonical bytes a kind is written so; an entry with none of them changes nothing that is compared."""


class DueChange(NamedTuple):
    """A change of a file since a freeze that no fact says yet: its sort, what is another, and the fact that shows it."""

    file: str
    freeze: str
    sort: ChangeSort
    subject: str
    fact: str

    @property
    def key(self) -> str:
        """The idempotency key under which it is said once."""
        return f"approval-change-{hashlib.sha256(repr(tuple(self)).encode()).hexdigest()[:40]}"


Changes = Callable[[Reader], Iterable[DueChange]]
"""Compares every watched file: what is another, and not said yet."""


class ApprovalChanges:
    """Looks whether what watched files rest on is another."""

    def __init__(self, changes: Changes) -> None:
        """The first look is due at once."""
        self._changes = changes
        self._looked: int | None = None
        self._waiting = False

    def due(self, reader: Reader, now_ms: int) -> Iterator[Submission]:
        """The changes that are due, as submissions whose keys make each said once.

        Cost: the bytes of the entries since the last look; where one of them is of a kind that matters, the watched files.
        """
        size = reader.head().size
        if self._looked is not None and not self._waiting and not _matters(reader, self._looked, size):
            self._looked = size
            return
        found = list(self._changes(reader))
        self._looked, self._waiting = size, bool(found)
        for one in found:
            record = ApprovalChangeFound(
                at=format_instant(Instant(now_ms, 0)),
                file=one.file,
                freeze=one.freeze,
                sort=one.sort,
                subject=one.subject,
                fact=one.fact,
            )
            yield Submission(key=one.key, records=(record,))


def _matters(reader: Reader, start: int, stop: int) -> bool:
    """Whether one of the entries from ``start`` up to ``stop`` is of a kind that can change what a file rests on."""
    return any(
        word in raw
        for first in range(start, stop, CHUNK)
        for _, raw, _ in reader.entry_rows(first, min(stop, first + CHUNK))
        for word in _WORDS
    )
