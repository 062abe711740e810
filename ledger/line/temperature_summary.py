"""What a temperature log says over a stretch of time: its ends, its gaps, the mean, and how long it was beyond a limit.

Between two readings the temperature is taken as a straight line; over a gap nothing is taken: a gap counts neither in the
mean nor in the time below or above a limit.  Arithmetic is exact, and rounded where it becomes text (half to even at six
places) or whole milliseconds.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Annotated

from msgspec import UNSET, Meta, UnsetType

from ledger.book.decimal_text import scaled
from ledger.book.instant import Instant, format_instant
from ledger.errors import MalformedInput
from ledger.line.record import At, DecimalText, Part
from ledger.line.temperature_log import NINTHS, Logged, celsius_text, degrees_text

GAPS_LISTED = 100

Milliseconds = Annotated[int, Meta(ge=0, le=9_007_199_254_740_991)]


class Gap(Part, frozen=True, kw_only=True):
    """From the last reading before a gap to the first after it."""

    from_at: At
    to_at: At


class Summary(Part, frozen=True, kw_only=True):
    """What a log says over a stretch of time; instants in UTC, temperatures in degrees Celsius.

    ``readings`` were taken into account and ``left_out`` lie outside the stretch.  ``longest_ms``: the longest time from
    one reading to the next; those longer than ``gap_limit_s`` are gaps, ``gap_count`` of them, the first 100 listed.
    ``covered_ms`` is the time without gaps, and ``mean_c`` the mean over it (trapezoids), absent where it is all gaps.
    ``below_ms`` and ``above_ms``: how long it was colder than ``low_c`` and warmer than ``high_c``, where those are given.
    """

    readings: Annotated[int, Meta(ge=2, le=10_000_000)]
    first_at: At
    last_at: At
    coldest_c: DecimalText
    warmest_c: DecimalText
    covered_ms: Milliseconds
    longest_ms: Milliseconds
    gap_limit_s: Annotated[int, Meta(ge=1, le=31_536_000)]
    gap_count: Annotated[int, Meta(ge=0, le=10_000_000)] = 0
    gaps: Annotated[tuple[Gap, ...], Meta(max_length=GAPS_LISTED)] = ()
    left_out: Annotated[int, Meta(ge=0, le=10_000_000)] = 0
    mean_c: DecimalText | UnsetType = UNSET
    low_c: DecimalText | UnsetType = UNSET
    high_c: DecimalText | UnsetType = UNSET
    below_ms: Milliseconds | UnsetType = UNSET
    above_ms: Milliseconds | UnsetType = UNSET


@dataclass(frozen=True, slots=True)
class Stretch:
    """The time that is looked at, both ends included; None where it is open."""

    from_ms: int | None = None
    to_ms: int | None = None


def cut(readings: Sequence[Logged], stretch: Stretch) -> Sequence[Logged]:
    """The readings that lie in the stretch, both ends included."""
    first = 0 if stretch.from_ms is None else bisect_left(readings, (stretch.from_ms, -(10**12)))
    last = len(readings) if stretch.to_ms is None else bisect_right(readings, (stretch.to_ms, 10**12))
    return readings[first:last]


def summarize(
    readings: Sequence[Logged],
    gap_limit_s: int,
    *,
    stretch: Stretch = Stretch(),  # a frozen value
    low_c: str | None = None,
    high_c: str | None = None,
) -> Summary:
    """What a log says over a stretch. Raises MalformedInput where fewer than 2 readings lie in it."""
    taken = cut(readings, stretch)
    if len(taken) < 2:
        raise MalformedInput(
            "log holds too few readings of the stage",
            expected=f"at least 2 from {_bound(stretch.from_ms)} to {_bound(stretch.to_ms)}",
            got=len(taken),
            where="body",
            mend="send the log of this rack, or name the stage that it is of",
        )
    over = _Over(taken, gap_limit_s * 1000)
    return Summary(
        readings=len(taken),
        left_out=len(readings) - len(taken),
        first_at=_instant_text(taken[0].at_ms),
        last_at=_instant_text(taken[-1].at_ms),
        coldest_c=celsius_text(min(one.ninths for one in taken)),
        warmest_c=celsius_text(max(one.ninths for one in taken)),
        mean_c=UNSET if over.mean is None else degrees_text(over.mean),
        covered_ms=over.covered_ms,
        longest_ms=max(late.at_ms - early.at_ms for early, late in pairwise(taken)),
        gap_limit_s=gap_limit_s,
        gap_count=len(over.gaps),
        gaps=tuple(Gap(from_at=_instant_text(a), to_at=_instant_text(b)) for a, b in over.gaps[:GAPS_LISTED]),
        low_c=UNSET if low_c is None else low_c,
        high_c=UNSET if high_c is None else high_c,
        below_ms=UNSET if low_c is None else over.beyond(9 * scaled(low_c, 6), -1),
        above_ms=UNSET if high_c is None else over.beyond(9 * scaled(high_c, 6), 1),
    )


class _Over:
    """Readings over time, without the gaps."""

    def __init__(self, readings: Sequence[Logged], gap_ms: int) -> None:
        pairs = list(pairwise(readings))
        self.gaps = [(early.at_ms, late.at_ms) for early, late in pairs if late.at_ms - early.at_ms > gap_ms]
        self._held = [(early, late) for early, late in pairs if late.at_ms - early.at_ms <= gap_ms]
        self.covered_ms = sum(late.at_ms - early.at_ms for early, late in self._held)

    @property
    def mean(self) -> Fraction | None:
        """Degrees Celsius, exactly."""
        twice = sum((early.ninths + late.ninths) * (late.at_ms - early.at_ms) for early, late in self._held)
        return Fraction(twice, 2 * self.covered_ms * NINTHS) if self.covered_ms else None

    def beyond(self, limit: int, side: int) -> int:
        """Milliseconds on one side of a limit (-1 below, 1 above), each crossing rounded to a millisecond."""
        return sum(_beyond(early, late, limit, side) for early, late in self._held)


def _beyond(early: Logged, late: Logged, limit: int, side: int) -> int:
    lasted = late.at_ms - early.at_ms
    first, last = side * (early.ninths - limit), side * (late.ninths - limit)
    if first <= 0 and last <= 0:
        return 0
    if first >= 0 and last >= 0:
        return lasted
    return round(Fraction(lasted * max(first, last), abs(last - first)))


def _instant_text(ms: int) -> str:
    return format_instant(Instant(ms, 0))


def _bound(ms: int | None) -> str:
    return "any time" if ms is None else _instant_text(ms)
