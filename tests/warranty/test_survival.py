"""Survival curves of counted balls, and the log-rank test."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import MalformedQuantity
from ledger.warranty.exposure import Spell, spell_columns
from ledger.warranty.survival import Curve, ages_at_risk, kaplan_meier, log_rank
from tests.warranty.spell_rows import balls

SPELLS = st.lists(
    st.builds(Spell, cohort=st.just(0), days=st.integers(1, 60), balls=st.integers(1, 5), claimed=st.booleans()),
    min_size=1,
    max_size=25,
)


@given(SPELLS)
def test_the_curve_is_the_product_over_ages(spells: list[Spell]) -> None:
    """At each age with a claim the share falls by those claimed of those at risk; Greenwood's sum is added up beside."""
    curve, share, spread = kaplan_meier(spell_columns(spells)), 1.0, 0.0
    ages = sorted({one.days for one in spells if one.claimed})
    assert ages == [point.days for point in curve.points]
    for age, point in zip(ages, curve.points, strict=True):
        risk = sum(one.balls for one in spells if one.days >= age)
        claims = sum(one.balls for one in spells if one.claimed and one.days == age)
        share *= 1 - claims / risk
        assert (risk, claims) == (point.at_risk, point.claims)
        assert share == pytest.approx(point.share, abs=1e-12)
        if risk > claims:
            spread += claims / (risk * (risk - claims))
            assert share * math.sqrt(spread) == pytest.approx(point.se, abs=1e-12)
            assert point.low is not None
            assert point.high is not None
            assert 0 < point.low < point.share < point.high < 1


def test_where_no_ball_is_left() -> None:
    """With the last ball claimed the share is 0, and no interval is told."""
    last = kaplan_meier(balls([5, 9], [1, 1])).points[-1]
    assert (0.0, 0.0, None, None) == (last.share, last.se, last.low, last.high)


def test_a_curve_without_a_claim() -> None:
    """It stays at 1; its median is not reached."""
    curve = kaplan_meier(balls([5, 9], [0, 0]))
    assert ((), 9.0, 1.0, None) == (curve.points, curve.longest, curve.at(9), curve.median)
    assert Curve(balls=0, claims=0, longest=0.0, points=()) == kaplan_meier(spell_columns([]))


def test_the_curve_between_its_points() -> None:
    """It holds until the next claim, and begins at 1."""
    curve = kaplan_meier(balls([4, 8, 8, 12], [1, 1, 0, 0]))
    assert [1.0, 0.75, 0.75, 0.5, 0.5] == [curve.at(days) for days in (3.9, 4, 7.9, 8, 100)]
    assert 8 == curve.median


def test_who_is_claimed_sooner_has_the_small_p() -> None:
    """One-sided: the first balls are suspected."""
    soon, late = balls([1, 2, 3, 4, 5], [1] * 5), balls([10, 11, 12, 13, 14], [1] * 5)
    first, second = log_rank(soon, late), log_rank(late, soon)
    assert first is not None
    assert second is not None
    assert first.p < 0.01
    assert second.p > 0.99
    assert first.chi2 == pytest.approx(second.chi2)


def test_no_log_rank_without_balls_or_claims() -> None:
    """Nothing to compare is no test, and no error."""
    some, none = balls([5, 6], [0, 0]), spell_columns([])
    assert (None, None, None) == (log_rank(some, some), log_rank(some, none), log_rank(none, some))


def test_numbers_at_risk() -> None:
    """Those whose time at risk reaches an age."""
    assert (3, 2, 1, 0) == ages_at_risk(balls([5, 9, 12], [1, 0, 0]), [0, 6, 12, 13])


def test_confidence_between_0_and_1() -> None:
    """Any other is refused."""
    with pytest.raises(MalformedQuantity, match="confidence"):
        kaplan_meier(balls([1], [1]), confidence=1.0)
