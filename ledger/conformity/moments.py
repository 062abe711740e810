"""Count, sum and sum of squares of readings as whole numbers: mean and standard deviation without a rounding.

Readings are whole millionths of one unit, taken once and not kept, so memory does not grow with them, and sums of parts
add up to the sum of the whole in any order.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from fractions import Fraction

import msgspec

from ledger.errors import MalformedQuantity
from ledger.line.quantity import SCALE


class Moments(msgspec.Struct, frozen=True):
    """``count`` readings, their ``total`` and the total of their ``squares``, in millionths and squared millionths."""

    count: int = 0
    total: int = 0
    squares: int = 0

    def __add__(self, other: Moments) -> Moments:
        """Both together."""
        return Moments(self.count + other.count, self.total + other.total, self.squares + other.squares)

    @property
    def mean(self) -> Fraction:
        """The mean in the unit. Raises MalformedQuantity when there is no reading."""
        if not self.count:
            raise MalformedQuantity("readings are missing", expected="at least one", got=0, where="readings")
        return Fraction(self.total, self.count * SCALE)

    @property
    def variance(self) -> Fraction:
        """The sample variance (over n - 1) in the unit squared. Raises MalformedQuantity for fewer than 2 readings."""
        if self.count < 2:
            raise MalformedQuantity(
                "a standard deviation needs more readings", expected="at least 2", got=self.count, where="readings"
            )
        spread = self.count * self.squares - self.total**2
        return Fraction(spread, self.count * (self.count - 1) * SCALE**2)

    @property
    def s(self) -> float:
        """The sample standard deviation in the unit. Raises as ``variance`` does."""
        return math.sqrt(self.variance)


def gather(readings: Iterable[int]) -> Moments:
    """The moments of readings in whole millionths, in one pass."""
    count = total = squares = 0
    for reading in readings:
        count += 1
        total += reading
        squares += reading * reading
    return Moments(count, total, squares)


def gather_counts(counts: Mapping[int, int]) -> Moments:
    """The moments of readings given as value to how often it was read."""
    return Moments(
        sum(counts.values()),
        sum(value * times for value, times in counts.items()),
        sum(value * value * times for value, times in counts.items()),
    )
