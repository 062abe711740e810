"""Exact tests of claims: mid-P, ratios, and what has no answer."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import MalformedQuantity
from ledger.warranty.exact_tests import mid_p_by_balls, mid_p_by_exposure, rate_ratio, ratio_interval


@given(st.integers(0, 40), st.integers(1, 40), st.floats(0.01, 0.99))
def test_mid_p_by_the_sum_of_the_law(claims: int, more: int, share: float) -> None:
    """The probabilities of more claims, and half of that of as many, added up term by term."""
    of = claims + more
    law = [math.comb(of, count) * share**count * (1 - share) ** (of - count) for count in range(of + 1)]
    assert math.fsum([law[claims] / 2, *law[claims + 1 :]]) == pytest.approx(
        float(mid_p_by_exposure(claims, of, share)), abs=1e-12
    )


@given(st.integers(0, 12), st.integers(0, 12), st.integers(1, 30), st.integers(1, 30))
def test_mid_p_by_balls_by_the_sum_of_the_law(claimed: int, rest: int, more: int, rest_more: int) -> None:
    """The same for balls drawn without putting back."""
    balls, others, total = claimed + more, rest + rest_more, claimed + rest
    law = [
        math.comb(balls, count) * math.comb(others, total - count) / math.comb(balls + others, total)
        if total - count >= 0
        else 0.0
        for count in range(balls + 1)
    ]
    expected = math.fsum([law[claimed] / 2, *law[claimed + 1 :]])
    assert expected == pytest.approx(mid_p_by_balls(claimed, balls, rest, others), abs=1e-10)


@given(st.integers(0, 30), st.integers(1, 60), st.floats(0.5, 500), st.floats(0.5, 500))
def test_the_interval_holds_the_ratio(claims: int, rest: int, time: float, rest_time: float) -> None:
    """Low end, ratio and high end stand in their order, and the interval is that of the binomial test turned round."""
    ratio = rate_ratio(claims, time, rest, rest_time)
    low, high = ratio_interval(claims, time, rest, rest_time)
    assert ratio is not None
    assert high is not None
    assert low <= ratio * (1 + 1e-12)
    assert ratio <= high * (1 + 1e-12)
    back_low, back_high = ratio_interval(rest, rest_time, claims, time)
    assert high == pytest.approx(1 / back_low)
    assert (back_high is None) == (claims == 0)


def test_no_claim_among_the_rest_leaves_the_upper_end_open() -> None:
    """Three claims against none: a lower end, no ratio, no upper end."""
    assert (None, None) == (rate_ratio(3, 1.0, 0, 9.0), ratio_interval(3, 1.0, 0, 9.0)[1])
    assert ratio_interval(3, 1.0, 0, 9.0)[0] > 1


def test_rates_need_exposure_on_both_sides() -> None:
    """A lot that nobody has bought yet has no rate."""
    with pytest.raises(MalformedQuantity, match="exposure"):
        ratio_interval(0, 0.0, 3, 9.0)
