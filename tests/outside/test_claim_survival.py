"""Survival curves, log-rank and Weibull fits against Freireich's leukaemia trial, scipy, and figures of other libraries.

Freireich et al. (1963), Blood 21, 699: weeks of remission, with 6-MP and with placebo; the table of the curve is from
Kalbfleisch and Prentice (from memory).  Figures of lifelines 0.30.3 were made by hand and are typed here: it is no
dependency, since it would hold pandas below 3 and bring matplotlib along.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import CensoredData, weibull_min
from statsmodels.duration.survfunc import SurvfuncRight, survdiff

from ledger.warranty.exposure import Spells
from ledger.warranty.forecast import WeibullFit, fit_weibull
from ledger.warranty.survival import Curve, kaplan_meier, log_rank
from tests.outside.metrology_vectors import vector
from tests.warranty.spell_rows import balls

LIFELINES_FIT = (1.3537315536, 33.7651942527, 0.3768762685, 9.2303856008)
"""rho_, lambda_ and their standard errors, of WeibullFitter on the 6-MP arm."""


def trial() -> tuple[Spells, Spells]:
    """The two arms: 6-MP, placebo."""
    six_mp, _, _ = vector("km-6mp")
    placebo, _, _ = vector("logrank-6mp")
    return balls(six_mp["time_weeks"], six_mp["event"]), balls(placebo["b_time"], [1] * len(placebo["b_time"]))


def test_the_curve_of_six_mp() -> None:
    """Shares, numbers at risk and Greenwood's errors, to the digits of the printed table and of the vector."""
    _, expected, within = vector("km-6mp")
    curve = kaplan_meier(trial()[0])
    assert expected["t"] == [point.days for point in curve.points]
    assert expected["at_risk"] == [point.at_risk for point in curve.points]
    assert expected["S"] == pytest.approx([point.share for point in curve.points], abs=within)
    assert expected["se_greenwood"] == pytest.approx([point.se for point in curve.points], abs=within)
    assert [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482] == pytest.approx(
        [point.share for point in curve.points], abs=6e-5
    )
    assert expected["median"] == curve.median


def test_the_interval_of_the_curve() -> None:
    """Pointwise, on the scale log(-log S): as lifelines 0.30.3 has it at 6 and at 23 weeks."""
    points = kaplan_meier(trial()[0]).points
    assert (0.6197179553, 0.9515517476) == pytest.approx((points[0].low, points[0].high), abs=1e-9)
    assert (0.1880520060, 0.6801426285) == pytest.approx((points[-1].low, points[-1].high), abs=1e-9)


def test_statsmodels_has_the_same_curve() -> None:
    """Share and standard error at each age, of the arm without censoring too."""
    for arm in trial():
        other, curve = SurvfuncRight(arm.days, arm.claimed.astype(int)), kaplan_meier(arm)
        assert other.surv_prob == pytest.approx([point.share for point in curve.points], abs=1e-12)
        ends_open = [point.se for point in curve.points if point.share > 0]
        assert other.surv_prob_se[: len(ends_open)] == pytest.approx(ends_open, abs=1e-12)


def test_the_log_rank_test_of_the_trial() -> None:
    """Chi-square 16.79, as printed; statsmodels has the same, and the placebo arm is the one that fails sooner."""
    _, expected, within = vector("logrank-6mp")
    six_mp, placebo = trial()
    found, back = log_rank(placebo, six_mp), log_rank(six_mp, placebo)
    assert found is not None
    assert back is not None
    assert expected["chi2"] == pytest.approx(found.chi2, rel=within)
    assert 16.79 == pytest.approx(found.chi2, abs=6e-3)
    assert expected["p"] / 2 == pytest.approx(found.p, rel=1e-6)
    assert 1 - expected["p"] / 2 == pytest.approx(back.p, rel=1e-6)
    times = np.concatenate((six_mp.days, placebo.days))
    events = np.concatenate((six_mp.claimed, placebo.claimed)).astype(int)
    assert survdiff(times, events, [0] * 21 + [1] * 21)[0] == pytest.approx(found.chi2, rel=1e-9)


def test_claims_over_balls_would_understate() -> None:
    """9 of 21 is 0.43, where the curve has come to 0.55."""
    _, expected, within = vector("naive-vs-km-trap")
    curve: Curve = kaplan_meier(trial()[0])
    assert expected["naive_fraction_claimed"] == pytest.approx(curve.claims / curve.balls, abs=within)
    assert expected["km_claimed_by_23wk"] == pytest.approx(1 - curve.at(23), abs=within)


def fitted(spells: Spells) -> WeibullFit:
    """The fit, which there must be."""
    fit = fit_weibull(spells)
    assert isinstance(fit, WeibullFit)
    return fit


def test_the_weibull_fit_of_scipy() -> None:
    """Both arms of the trial; the profile equation and scipy's search come to the same maximum."""
    for arm in trial():
        shape, _, scale = weibull_min.fit(CensoredData.right_censored(arm.days, ~arm.claimed), floc=0)
        fit = fitted(arm)
        assert (shape, scale) == pytest.approx((fit.shape, fit.scale), rel=1e-4)


def test_the_weibull_fit_of_lifelines() -> None:
    """Shape and scale of the 6-MP arm, and the standard errors of their logarithms by the delta method (lifelines 0.30.3)."""
    fit = fitted(trial()[0])
    assert LIFELINES_FIT[:2] == pytest.approx((fit.shape, fit.scale), rel=1e-4)
    errors = LIFELINES_FIT[2] / fit.shape, LIFELINES_FIT[3] / fit.scale
    assert errors == pytest.approx((fit.shape_log_se, fit.scale_log_se), rel=1e-3)


def test_without_censoring_the_fit_is_the_textbook_equation() -> None:
    """The scale is the power mean of the ages at the fitted shape (Lawless 1982; from memory)."""
    arm = trial()[1]
    fit = fitted(arm)
    assert math.isclose(fit.scale**fit.shape, float((arm.days**fit.shape).mean()), rel_tol=1e-9)
