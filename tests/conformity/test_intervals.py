"""ledger.conformity.intervals: ends lie about the estimate, and close in with confidence and count."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.intervals import Interval, cp_interval, cpk_interval, exact_interval, wilson_interval
from ledger.errors import MalformedQuantity

Method = Callable[..., Interval]
shares = pytest.mark.parametrize("method", [wilson_interval, exact_interval])


@shares
@given(count=st.integers(1, 5000), part=st.floats(0, 1), confidence=st.floats(0.5, 0.999))
def test_a_share_lies_in_its_interval(method: Method, count: int, part: float, confidence: float) -> None:
    """The ends stay within 0 and 1 and hold the share between them; the other way round they are mirrored."""
    hits = round(part * count)
    found, other = method(hits, count, confidence), method(count - hits, count, confidence)
    assert 0 <= found.low <= hits / count <= found.high <= 1
    assert pytest.approx((1 - other.high, 1 - other.low), abs=1e-9) == (found.low, found.high)


@shares
@given(count=st.integers(1, 500), part=st.floats(0, 1))
def test_one_side_is_the_two_sided_end_of_twice_the_tail(method: Method, count: int, part: float) -> None:
    """A one-sided 95 % end is the end of the 90 % interval, and the other end says nothing."""
    hits = round(part * count)
    both = method(hits, count, 0.9)
    lower, upper = method(hits, count, 0.95, "lower"), method(hits, count, 0.95, "upper")
    assert pytest.approx((both.low, 1.0)) == (lower.low, lower.high)
    assert pytest.approx((0.0, both.high)) == (upper.low, upper.high)


def test_none_of_any_reaches_exactly_zero() -> None:
    """No hit gives a lower end of exactly 0, all hits an upper of exactly 1; the rule of three holds for the rest."""
    for method in (wilson_interval, exact_interval):
        assert (0.0, 1.0) == (method(0, 300).low, method(300, 300).high)
    assert pytest.approx(3 / 300, rel=0.01) == exact_interval(0, 300, 0.95, "upper").high


@given(st.floats(0.05, 5), st.integers(2, 10**6), st.floats(0.5, 0.99))
def test_indices_lie_in_their_intervals(index: float, count: int, confidence: float) -> None:
    """Cpk is in its interval always, Cp in its own where that has left the skew of a handful of values."""
    cpk = cpk_interval(index, count, confidence)
    cp = cp_interval(index, count, confidence)
    assert cpk.low < index < cpk.high
    assert 0 < cp.low < cp.high
    assert cp.low < index
    assert cp.high > index or count < 5


@pytest.mark.parametrize(
    "refused",
    [
        lambda: wilson_interval(1, 0),
        lambda: exact_interval(5, 4),
        lambda: exact_interval(-1, 4),
        lambda: wilson_interval(1, 4, 1.0),
        lambda: exact_interval(1, 4, 0.0),
        lambda: cp_interval(1.0, 1),
        lambda: cpk_interval(float("nan"), 10),
        lambda: cpk_interval(float("inf"), 10),
        lambda: cp_interval(1.0, 10, float("nan")),
    ],
)
def test_what_is_no_share_no_index_or_no_confidence_is_refused(refused: Callable[[], Interval]) -> None:
    """No interval is made up for it."""
    with pytest.raises(MalformedQuantity):
        refused()
