"""Claims to come: what is expected, how sure, and when nothing is said."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import binom

from ledger.errors import MalformedQuantity
from ledger.warranty.exposure import Spell, Spells, spell_columns
from ledger.warranty.forecast import (
    LEAST_CLAIMS,
    METHOD,
    MONTH_DAYS,
    Forecast,
    WeibullFit,
    fit_weibull,
    forecast_claims,
)
from tests.warranty.spell_rows import balls

SHAPE, SCALE = 1.6, 2_500.0


def watched(rng: np.random.Generator, count: int) -> tuple[Spells, int]:
    """So many balls with ages at claim by a known law, watched for 30 to 700 days; and how many are claimed a year on."""
    claimed = SCALE * rng.weibull(SHAPE, count)
    until = rng.uniform(30, 700, count)
    spells = balls(np.ceil(np.minimum(claimed, until)), claimed < until)
    return spells, int(((claimed >= until) & (claimed < until + 12 * MONTH_DAYS)).sum())


def test_the_fit_finds_the_law() -> None:
    """Of 20,000 balls: shape and scale within three of their standard errors."""
    fit = fit_weibull(watched(np.random.default_rng(11), 20_000)[0])
    assert isinstance(fit, WeibullFit)
    assert abs(math.log(fit.shape / SHAPE)) < 3 * fit.shape_log_se < 0.2
    assert abs(math.log(fit.scale / SCALE)) < 3 * fit.scale_log_se < 0.3


def test_balls_alike_may_be_counted_together() -> None:
    """Counted or ball by ball, the fit and the forecast are the same."""
    counted = spell_columns(
        [Spell(0, 100, 6, claimed=True), Spell(0, 250, 4, claimed=True), Spell(0, 300, 90, out=True)]
    )
    single = balls([100] * 6 + [250] * 4 + [300] * 90, [1] * 10 + [0] * 90)
    for one, other in zip(forecast_claims(counted).months, forecast_claims(single).months, strict=True):
        assert (one.expected, one.low, one.high) == pytest.approx((other.expected, other.low, other.high))


def test_the_interval_holds_what_it_says() -> None:
    """300 simulated lots of 600 balls: the year to come lies in the 95 % interval about as often as that.

    The count is held to a binomial law at 95 % with one chance in 10,000 of failing, whatever the seed.
    """
    rng, inside, told = np.random.default_rng(12), 0, 0
    for _ in range(300):
        spells, came = watched(rng, 600)
        forecast = forecast_claims(spells, 12)
        if not forecast.left_out:
            told += 1
            inside += forecast.months[-1].low <= came <= forecast.months[-1].high
    assert told > 290
    assert inside >= binom.ppf(1e-4, told, 0.95)


def test_expected_claims_by_the_law_itself() -> None:
    """Of one age, expected is balls times the share that the law claims within the horizon; months add up."""
    spells = spell_columns(
        [Spell(0, 50, 3, claimed=True), Spell(0, 200, 3, claimed=True), Spell(0, 400, 500, out=True)]
    )
    forecast = forecast_claims(spells, 24)
    fit = forecast.fit
    assert fit is not None
    for month in forecast.months:
        now, then = (((400 + days) / fit.scale) ** fit.shape for days in (0, month.month * MONTH_DAYS))
        assert 500 * (1 - math.exp(now - then)) == pytest.approx(month.expected)
    assert [month.expected for month in forecast.months] == sorted(month.expected for month in forecast.months)
    assert all(month.low <= month.expected <= month.high for month in forecast.months)
    assert METHOD == forecast.method


def test_no_more_balls_are_claimed_than_there_are() -> None:
    """Where claims come fast, the far months reach the balls at risk and stay there, however uncertain the fit."""
    spells = spell_columns([*(Spell(0, age, 1, claimed=True) for age in range(30, 62, 4)), Spell(0, 63, 29, out=True)])
    forecast = forecast_claims(spells, 60)
    assert 29 == forecast.at_risk == forecast.months[-1].low == forecast.months[-1].high
    assert forecast.months[-1].expected == pytest.approx(29)
    assert all(0 <= month.low <= month.expected + 0.5 <= month.high + 1 <= 30 for month in forecast.months)


def test_too_few_claims_are_refused_with_the_reason() -> None:
    """Four claims, or five at one age: no fit, and the balls at risk are told all the same."""
    few = balls([10, 20, 30, 40, 500], [1, 1, 1, 1, 0])
    alike = balls([10] * LEAST_CLAIMS + [500], [1] * LEAST_CLAIMS + [0])
    for spells, said in ((few, "4 claims at 4 ages"), (alike, "5 claims at 1 ages")):
        forecast = forecast_claims(spells)
        assert (1, (), None) == (forecast.at_risk, forecast.months, forecast.fit)
        assert said in forecast.left_out


def test_ages_that_fit_no_law_are_refused() -> None:
    """Claims within days of each other at the end of a long watch have no shape that would be believed."""
    spells = balls([3_000, 3_000, 3_000, 3_000, 3_001], [1] * 5)
    assert "no Weibull law" in forecast_claims(spells).left_out


def test_nobody_left_at_risk() -> None:
    """With every ball claimed or back, nothing is to come."""
    forecast = forecast_claims(balls([10, 20, 30, 40, 50], [1] * 5), 1)
    assert (0, 0.0, 0, 0) == (
        forecast.at_risk,
        *[getattr(forecast.months[0], name) for name in ("expected", "low", "high")],
    )


def test_what_the_forecast_rests_on_is_said() -> None:
    """A horizon beyond the oldest ball is named with both ages."""
    spells = spell_columns(
        [Spell(0, 50, 3, claimed=True), Spell(0, 200, 3, claimed=True), Spell(0, 400, 500, out=True)]
    )
    assert any("longer than 400 days" in said for said in forecast_claims(spells, 12).cautions)


@pytest.mark.parametrize("months", [0, 61])
def test_months_are_bounded(months: int) -> None:
    """None, or more than five years, is refused."""
    with pytest.raises(MalformedQuantity, match="months"):
        forecast_claims(balls([1], [1]), months)


def test_a_forecast_left_out_has_no_month() -> None:
    """The reason stands in its place."""
    assert () == Forecast(at_risk=3, left_out="too few").months
