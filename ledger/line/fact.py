"""A fact: one record at its address in the book, with what the writer found wrong about it."""

from __future__ import annotations

import msgspec
from msgspec import UNSET, UnsetType

from ledger.book.instant import instant_ms
from ledger.line.record import Record

LATE_MS = 3_600_000
"""A report later than this after the act is marked late (default, common practice, no source; configurable)."""

DOUBTFUL_MS = 120_000
"""A time this far ahead of the service's clock is accepted and marked doubtful (default, common practice, no source)."""


class Breach(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
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


class Fact(msgspec.Struct, frozen=True):
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


def parse_address(text: str) -> tuple[int, int]:
    """Index and position of ``index.position``; the text has the `Address` pattern already."""
    index, _, position = text.partition(".")
    return int(index), int(position)
