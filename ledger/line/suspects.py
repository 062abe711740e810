"""What a case suspects: a lot, the shells poured in a week, a mould set, station, gauge or serials over a span of time."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, UnsetType

from ledger.book.instant import instant_ms
from ledger.errors import MalformedRecord
from ledger.line.record import At, Id, Part
from ledger.line.weeks import week_ends

SuspectSort = Literal[
    "material-lot", "batch", "block-lot", "core-lot", "shell-lot", "week", "mould", "station", "gauge", "serials"
]

STAGE_OF: dict[str, str] = {
    "material-lot": "material",
    "batch": "batch",
    "block-lot": "block",
    "core-lot": "core",
    "shell-lot": "shell",
}
"""The sorts that name a lot, and the stage that it must be of."""

SerialPart = Annotated[str, Meta(min_length=1, max_length=20, description="serial or its beginning, as engraved")]


class Suspect(Part, frozen=True, kw_only=True):
    """One thing that balls may share. ``from_at`` and ``to_at`` belong to it both (of mould, station, gauge, serials).

    ``serials`` are those that begin with ``serial_prefix``, or those of one length from ``first_serial`` to
    ``last_serial`` in the order of their characters; every other sort has a ``name``, a week as in 2026-W35.
    """

    sort: SuspectSort
    name: Id | UnsetType = UNSET
    from_at: At | UnsetType = UNSET
    to_at: At | UnsetType = UNSET
    serial_prefix: SerialPart | UnsetType = UNSET
    first_serial: SerialPart | UnsetType = UNSET
    last_serial: SerialPart | UnsetType = UNSET


class Span(Part, frozen=True, kw_only=True):
    """Instants in POSIX milliseconds, both inclusive; None where an end is open."""

    from_ms: int | None = None
    to_ms: int | None = None

    def touches(self, from_ms: int, to_ms: int) -> bool:
        """Whether some instant of a stretch lies in it."""
        return (self.to_ms is None or from_ms <= self.to_ms) and (self.from_ms is None or to_ms >= self.from_ms)

    def takes_in(self, from_ms: int, to_ms: int) -> bool:
        """Whether every instant of a stretch lies in it."""
        return (self.from_ms is None or from_ms >= self.from_ms) and (self.to_ms is None or to_ms <= self.to_ms)


def span_of(suspect: Suspect) -> Span:
    """The span of a suspect; that of a week is the week itself."""
    if suspect.sort == "week":
        ends = week_ends(str(suspect.name))
        return Span() if ends is None else Span(from_ms=ends[0], to_ms=ends[1])
    return Span(
        from_ms=None if suspect.from_at is UNSET else instant_ms(suspect.from_at),
        to_ms=None if suspect.to_at is UNSET else instant_ms(suspect.to_at),
    )


def check_suspect(suspect: Suspect) -> None:
    """Check that a suspect is said in one way. Raises MalformedRecord naming the field."""
    ends = suspect.first_serial is not UNSET, suspect.last_serial is not UNSET
    if suspect.sort == "serials":
        _check_serials(suspect, ends)
    elif suspect.name is UNSET:
        raise MalformedRecord(
            f"a suspect {suspect.sort} has a name", expected="name", where="suspect.name", mend="name the one suspected"
        )
    elif suspect.serial_prefix is not UNSET or any(ends):
        raise MalformedRecord(
            "only serials have a prefix or ends", where="suspect", mend="leave them out, or choose the sort serials"
        )
    if suspect.sort == "week" and week_ends(str(suspect.name)) is None:
        raise MalformedRecord(
            "there is no such week",
            expected="a week of ISO 8601, as in 2026-W35",
            got=suspect.name,
            where="suspect.name",
            mend="correct the week",
        )
    if suspect.sort in {"week", *STAGE_OF} and (suspect.from_at is not UNSET or suspect.to_at is not UNSET):
        raise MalformedRecord(
            f"a {'week' if suspect.sort == 'week' else 'lot'} is suspected whole",
            expected="no span",
            where="suspect.from_at",
            mend="leave the span out, or suspect the mould, station or gauge over it",
        )
    span = span_of(suspect)
    if span.from_ms is not None and span.to_ms is not None and span.from_ms > span.to_ms:
        raise MalformedRecord(
            "the span ends before it begins",
            expected=f"at or after {suspect.from_at}",
            got=suspect.to_at,
            where="suspect.to_at",
            mend="swap the two instants",
        )


def _check_serials(suspect: Suspect, ends: tuple[bool, bool]) -> None:
    by_prefix = suspect.serial_prefix is not UNSET
    if suspect.name is not UNSET or by_prefix == any(ends) or (any(ends) and not all(ends)):
        raise MalformedRecord(
            "serials are suspected by a prefix or from one to another",
            expected="serial_prefix, or first_serial and last_serial",
            where="suspect",
            mend="send the one or the other, and no name",
        )
    first, last = suspect.first_serial, suspect.last_serial
    if isinstance(first, str) and isinstance(last, str) and (len(first) != len(last) or first > last):
        raise MalformedRecord(
            "the ends of a range of serials are of one length, in order",
            expected=f"{len(first)} characters, at or after {first}",
            got=last,
            where="suspect.last_serial",
            mend="numbers of different lengths have no common order: send a case for each length",
        )
