"""ledger.conformity.moments: sums lose nothing, in any order and in any parts."""

from __future__ import annotations

import statistics
from collections import Counter
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.moments import Moments, gather, gather_counts
from ledger.errors import MalformedQuantity

readings = st.lists(st.integers(-(10**9), 10**9), min_size=2, max_size=30)


@given(readings)
def test_mean_and_variance_are_the_exact_ones(values: list[int]) -> None:
    """They equal those of the standard library's exact arithmetic."""
    found = gather(values)
    exact = [Fraction(value, 10**6) for value in values]
    assert statistics.mean(exact) == found.mean
    assert statistics.variance(exact) == found.variance
    assert pytest.approx(float(found.variance), rel=1e-14) == found.s**2


@given(readings, readings)
def test_parts_add_up_to_the_whole(first: list[int], second: list[int]) -> None:
    """Moments of parts give those of all, whatever was read where."""
    assert gather(first + second) == gather(first) + gather(second) == gather(second) + gather(first)


@given(readings)
def test_counts_give_what_readings_give(values: list[int]) -> None:
    """Values with how often they were read are the same readings."""
    assert gather(values) == gather_counts(Counter(values))


def test_too_few_readings_are_refused() -> None:
    """A mean needs one reading, a standard deviation two."""
    with pytest.raises(MalformedQuantity):
        _ = Moments().mean
    with pytest.raises(MalformedQuantity):
        _ = gather([5]).s
