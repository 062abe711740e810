"""ledger.conformity.bins: every reading is in one bin, and bins are whole steps of the gauge."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.bins import bin_readings, side_of
from ledger.errors import MalformedQuantity

readings = st.lists(st.integers(-300, 900).map(lambda value: value * 100_000), min_size=1, max_size=60)


@given(readings, st.integers(1, 40))
def test_bins_hold_every_reading_once_and_none_on_an_edge(values: list[int], most: int) -> None:
    """Counted again between the edges, each bin has the readings that it says."""
    made = bin_readings(Counter(values), most=most)
    assert len(made.counts) <= most
    assert made.counts[0]
    assert made.counts[-1]
    for at, count in enumerate(made.counts):
        low, high = made.start + at * made.width, made.start + (at + 1) * made.width
        assert sum(low < Fraction(value, 10**6) < high for value in values) == count
    assert made.end == made.start + len(made.counts) * made.width


@given(readings)
def test_a_bin_is_a_whole_number_of_steps(values: list[int]) -> None:
    """No bin holds a step more than its neighbour: the width is a multiple of the readings' own step."""
    made = bin_readings(Counter(values))
    base = min(values)
    assert all(
        ((value - base) % (made.width * 10**6)) % 100_000 == 0 and made.width * 10**6 % 100_000 == 0 for value in values
    )


@given(readings, st.booleans())
def test_outside_is_counted_by_reading_and_not_by_bin(values: list[int], strict: bool) -> None:  # noqa: FBT001  # drawn
    """A bin that a limit cuts is told apart reading by reading."""
    low, high = Fraction(10), Fraction(40)
    made = bin_readings(Counter(values), low=low, high=high, strict=strict, most=5)
    sides = [side_of(value, low, high, strict=strict) for value in values]
    assert sum(map(abs, sides)) == sum(made.outside)
    assert all(outside <= count for outside, count in zip(made.outside, made.counts, strict=True))


def test_a_limit_is_exact() -> None:
    """On the limit is inside, unless it is strict; a millionth beyond is outside."""
    low, high = Fraction(1), Fraction(2)
    assert [0, 0, -1, 1] == [side_of(one, low, high, strict=False) for one in (10**6, 2 * 10**6, 999_999, 2_000_001)]
    assert [-1, 1, 0, 0] == [side_of(one, low, high, strict=True) for one in (10**6, 2 * 10**6, 1_000_001, 1_999_999)]
    assert 0 == side_of(5, None, None, strict=True)


def test_no_reading_is_refused() -> None:
    """Neither nothing nor values read no times."""
    for counts in ({}, {5: 0}):
        with pytest.raises(MalformedQuantity):
            bin_readings(counts)
