"""Readings in bins, chosen so that the gauge's resolution makes no comb of them.

A gauge reads whole steps.  A bin that holds three steps beside one that holds two shows gaps that are not in the process,
so a bin is a whole number of steps and its edges lie half a step beside what can be read: no reading is on an edge.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import pairwise

import msgspec

from ledger.errors import MalformedQuantity
from ledger.line.quantity import SCALE

MOST_BINS = 30


class Histogram(msgspec.Struct, frozen=True, kw_only=True):
    """Counts of bins of equal ``width`` from ``start`` upwards, both in the unit; the first and last are not empty.

    ``outside``: how many of each bin's readings lie outside the limits.
    """

    start: Fraction
    width: Fraction
    counts: tuple[int, ...]
    outside: tuple[int, ...]

    @property
    def end(self) -> Fraction:
        """The upper edge of the last bin."""
        return self.start + self.width * len(self.counts)


def bin_readings(
    counts: Mapping[int, int],
    *,
    low: Fraction | None = None,
    high: Fraction | None = None,
    strict: bool = False,
    most: int = MOST_BINS,
) -> Histogram:
    """The histogram of readings given as whole millionths to how often each was read, in at most ``most`` bins.

    The width is the least of 1, 2, 3, 5 times a power of ten, in steps, that gives few enough.  Limits are in the unit;
    ``strict``: a reading on a limit is outside.
    Raises MalformedQuantity when there is no reading.
    """
    values = sorted(value for value, times in counts.items() if times)
    if not values:
        raise MalformedQuantity("readings are missing", expected="at least one", got=0, where="readings")
    step = math.gcd(*(late - early for early, late in pairwise(values))) or SCALE
    steps = (values[-1] - values[0]) // step + 1
    wide = next(nice for nice in _nice_numbers() if -(-steps // nice) <= most)
    bins, outside = [0] * -(-steps // wide), [0] * -(-steps // wide)
    for value in values:
        at = (value - values[0]) // step // wide
        bins[at] += counts[value]
        if side_of(value, low, high, strict=strict):
            outside[at] += counts[value]
    return Histogram(
        start=Fraction(2 * values[0] - step, 2 * SCALE),
        width=Fraction(step * wide, SCALE),
        counts=tuple(bins),
        outside=tuple(outside),
    )


def side_of(value: int, low: Fraction | None, high: Fraction | None, *, strict: bool) -> int:
    """-1 for a reading, in whole millionths, below the lower limit, 1 above the upper, 0 between; exact."""
    if low is not None and (value <= low * SCALE if strict else value < low * SCALE):
        return -1
    if high is not None and (value >= high * SCALE if strict else value > high * SCALE):
        return 1
    return 0


def _nice_numbers() -> Iterator[int]:
    """1, 2, 3, 5, 10, 20, 30, 50, ..."""
    power = 1
    while True:
        yield from (power, 2 * power, 3 * power, 5 * power)
        power *= 10
