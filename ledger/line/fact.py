"""A fact: one record at its address in the book, with what the writer found wrong about it."""

from __future__ import annotations

import msgspec
from msgspec import UNSET, UnsetType

from ledger.book.instant import instant_ms
from ledger.line.record import Record


class Breach(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True, gc=False):
    """A rule that a report shows was not kept. Stands in the entry; never recomputed.

    ``code`` is stable; ``node`` is what it concerns and, where ``holds`` is true, holds; ``fact`` is the address of the
    earlier fact in the way; ``earliest`` is the first instant at which the step would have kept the rule.
    """

    code: str
    node: str
    said: str
    holds: bool = True
    fact: str | UnsetType = UNSET
    earliest: str | UnsetType = UNSET
    mend: str | UnsetType = UNSET
    change: int | UnsetType = UNSET
    """In a correction: the change whose replacement it concerns."""


class Fact(msgspec.Struct, frozen=True, gc=False):
    """A record at its address. ``index`` and ``position`` order facts; a replaced body keeps the first address."""

    index: int
    position: int
    record: Record
    author: str
    recorded_ms: int
    breaches: tuple[Breach, ...] = ()
    body: str = ""

    @property
    def address(self) -> str:
        """``index.position``."""
        return f"{self.index}.{self.position}"

    @property
    def at_ms(self) -> int:
        """When it happened, as said."""
        return instant_ms(self.record.at)

    @property
    def taken_ms(self) -> int | None:
        """The instant at which the fact was taken as it stands; none for a corrected one, which was said over again."""
        return None if self.body else self.recorded_ms


def is_late(fact: Fact, sort: str, late_ms: int) -> bool:
    """Whether a report was taken long after the act. ``sort`` is that of its kind; a decision is never late."""
    return sort == "report" and fact.recorded_ms - fact.at_ms > late_ms


def is_doubtful(fact: Fact, doubtful_ms: int) -> bool:
    """Whether the clock that gave the fact's time is too far off: by its own statement, or ahead of the service's.

    A corrected time was no clock's, so it is doubtful by its own statement only.
    """
    error_s = fact.record.clock_error_s
    stated = 0 if error_s is UNSET else error_s * 1000
    taken_ms = fact.taken_ms
    ahead = 0 if taken_ms is None else fact.at_ms - taken_ms
    return stated > doubtful_ms or ahead > max(doubtful_ms, stated)


def parse_address(text: str) -> tuple[int, int]:
    """Index and position of ``index.position``; the text has the `Address` pattern already."""
    index, _, position = text.partition(".")
    return int(index), int(position)
