"""Claims to come: a Weibull law of age fitted to the balls of a group, and how many of those at risk it claims.

*Fit*: maximum likelihood with censored times; the shape is the root of the profile equation (Lawless 1982, from memory),
which weighs balls that are alike together; `scipy.stats.weibull_min.fit` gives the same (it is held to it in the tests).
*Expected*: for each ball at risk of age t, 1 - S(t + h) / S(t), summed; returns and scrap to come are not foreseen, so
it is rather too high.  *Interval*: the expected share is as uncertain as the fit (observed information, delta method on its
logarithm; taken for a beta law), and of so many balls at risk a binomial number is claimed; the ends are the quantiles of
the two together, so that no more balls are claimed than there are.  No random numbers are drawn.  Below 5 claims at 2 ages nothing is fitted (common practice, no source).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import msgspec

from ledger.conformity.intervals import check_confidence
from ledger.errors import MalformedQuantity

if TYPE_CHECKING:
    from ledger.warranty.exposure import Floats, Spells

LEAST_CLAIMS = 5
LEAST_AGES = 2
CONFIDENCE = 0.95
MONTH_DAYS = 365.25 / 12
MOST_MONTHS = 60
SHAPES = (0.05, 50.0)
"""Shapes between which the fit is looked for."""

NEGLIGIBLE = 1e-9
"""Below this part of the scatter that a share can have, or with no more room for it, a share is taken for known."""

NODES = 400
"""Values of the share, equally likely, over which the law of the number is averaged."""

METHOD = (
    "Weibull by maximum likelihood; the share by the delta method as a beta law, and binomial scatter of the number"
)


class WeibullFit(msgspec.Struct, frozen=True, kw_only=True):
    """The law S(t) = exp(-(t / scale)^shape) of an age t in days, and the standard errors of the logarithms of both."""

    shape: float
    scale: float
    shape_log_se: float
    scale_log_se: float
    log_covariance: float
    claims: int


class ForecastMonth(msgspec.Struct, frozen=True, kw_only=True):
    """Claims expected by the end of a month from now (from 1), all months before it included, with their interval."""

    month: int
    expected: float
    low: int
    high: int


class Forecast(msgspec.Struct, frozen=True, kw_only=True):
    """What is to come, or why nothing is said (``left_out``). ``cautions`` say what it rests on."""

    at_risk: int
    months: tuple[ForecastMonth, ...] = ()
    fit: WeibullFit | None = None
    confidence: float = CONFIDENCE
    method: str = METHOD
    cautions: tuple[str, ...] = ()
    left_out: str = ""


def fit_weibull(spells: Spells) -> WeibullFit | str:
    """The law of some balls, or in words why none can be fitted."""
    import numpy as np  # noqa: PLC0415  # costs start-up time, and only questions about claims need it
    from scipy.optimize import brentq  # noqa: PLC0415  # see above

    claims, ages = int(spells.balls[spells.claimed].sum()), len(set(spells.days[spells.claimed].tolist()))
    if claims < LEAST_CLAIMS or ages < LEAST_AGES:
        return f"{claims} claims at {ages} ages: a fit needs {LEAST_CLAIMS} claims at {LEAST_AGES} ages or more"
    longest = float(spells.days.max())
    logs = np.log(spells.days / longest)  # at most 0, so that no power overflows
    mean = float(np.average(logs[spells.claimed], weights=spells.balls[spells.claimed]))

    def profile(shape: float) -> float:
        powers = spells.balls * np.exp(shape * logs)
        return float((powers * logs).sum() / powers.sum()) - 1 / shape - mean

    if not profile(SHAPES[0]) < 0 < profile(SHAPES[1]):
        return "the ages of the claims fit no Weibull law"
    shape = float(brentq(profile, *SHAPES, xtol=1e-12, rtol=1e-12))
    log_scale = math.log(float((spells.balls * np.exp(shape * logs)).sum()) / claims) / shape
    return _with_errors(spells, logs, shape, log_scale, longest)


def _with_errors(spells: Spells, logs: Floats, shape: float, log_scale: float, longest: float) -> WeibullFit:
    """The fit with the inverse of its observed information, in the logarithms of shape and scale."""
    import numpy as np  # noqa: PLC0415  # see above

    claims = int(spells.balls[spells.claimed].sum())
    z = shape * (logs - log_scale)
    powers = spells.balls * np.exp(z)
    ended = float((z * spells.balls)[spells.claimed].sum())
    by_shape = float((powers * (z + z * z)).sum()) - ended
    mixed = -shape * float((powers * z).sum())
    by_scale = shape**2 * claims
    determinant = by_shape * by_scale - mixed**2
    return WeibullFit(
        shape=shape,
        scale=longest * math.exp(log_scale),
        shape_log_se=math.sqrt(by_scale / determinant),
        scale_log_se=math.sqrt(by_shape / determinant),
        log_covariance=-mixed / determinant,
        claims=claims,
    )


class _Expected(NamedTuple):
    """The expected number, and how its logarithm moves with those of shape and scale."""

    number: float
    by_shape: float
    by_scale: float


def forecast_claims(spells: Spells, months: int = 12, confidence: float = CONFIDENCE) -> Forecast:
    """Claims to come of the balls at risk, month by month.

    Raises MalformedQuantity for a number of months or a confidence that is out of range.
    """
    check_confidence(confidence)
    if not 1 <= months <= MOST_MONTHS:
        raise MalformedQuantity(
            "months are out of range", expected=f"1 to {MOST_MONTHS}", got=months, where="months"
        )  # fmt: skip
    at_risk = int(spells.balls[spells.out].sum())
    fit = fit_weibull(spells)
    if isinstance(fit, str):
        return Forecast(at_risk=at_risk, confidence=confidence, left_out=fit)
    told = tuple(
        _month(number, _expected(spells, fit, number * MONTH_DAYS), fit, at_risk, confidence)
        for number in range(1, months + 1)
    )
    return Forecast(at_risk=at_risk, months=told, fit=fit, confidence=confidence, cautions=_cautions(spells, months))


def _cautions(spells: Spells, months: int) -> tuple[str, ...]:
    longest = float(spells.days.max())
    oldest = float(spells.days[spells.out].max()) + months * MONTH_DAYS if spells.out.any() else 0.0
    said = ["returns and scrap to come are not foreseen: rather too many claims than too few"]
    if oldest > longest:
        said.append(f"no ball was watched for longer than {longest:.0f} days; the forecast goes to {oldest:.0f}")
    return tuple(said)


def _expected(spells: Spells, fit: WeibullFit, horizon: float) -> _Expected:
    import numpy as np  # noqa: PLC0415  # see above

    ages, balls = spells.days[spells.out], spells.balls[spells.out]
    now, then = (ages / fit.scale) ** fit.shape, ((ages + horizon) / fit.scale) ** fit.shape
    number = float((balls * -np.expm1(now - then)).sum())
    if number <= 0:
        return _Expected(0.0, 0.0, 0.0)
    left = balls * np.exp(now - then)
    by_shape = float((left * (then * np.log(then) - now * np.log(now))).sum())
    by_scale = -fit.shape * float((left * (then - now)).sum())
    return _Expected(number, by_shape / number, by_scale / number)


def _month(number: int, expected: _Expected, fit: WeibullFit, balls: int, confidence: float) -> ForecastMonth:
    if expected.number <= 0:
        return ForecastMonth(month=number, expected=0.0, low=0, high=0)
    variance = (
        (expected.by_shape * fit.shape_log_se) ** 2
        + (expected.by_scale * fit.scale_log_se) ** 2
        + 2 * expected.by_shape * expected.by_scale * fit.log_covariance
    )
    shares = _shares(expected.number / balls, variance)
    tail = (1 - confidence) / 2
    low, high = _quantile(balls, shares, tail), _quantile(balls, shares, 1 - tail)
    return ForecastMonth(month=number, expected=expected.number, low=low, high=high)


def _shares(mean: float, variance: float) -> Floats:
    """Equally likely values of a share with this mean and this relative variance: those of a beta law."""
    import numpy as np  # noqa: PLC0415  # see above
    from scipy.stats import beta  # noqa: PLC0415  # see above

    room, spread = mean * (1 - mean), mean**2 * variance
    if room <= NEGLIGIBLE or spread <= room * NEGLIGIBLE:
        return np.full(1, min(mean, 1.0))
    weight = max(room / spread - 1, NEGLIGIBLE)
    found: Floats = beta.ppf((np.arange(NODES) + 0.5) / NODES, mean * weight, (1 - mean) * weight)
    return found


def _quantile(balls: int, shares: Floats, probability: float) -> int:
    """The least number of claims that is not exceeded with this probability; by halving, about 20 looks for a million."""
    from scipy.stats import binom  # noqa: PLC0415  # see above

    low, high = 0, balls
    while low < high:
        middle = (low + high) // 2
        if float(binom.cdf(middle, balls, shares).mean()) < probability:
            low = middle + 1
        else:
            high = middle
    return low
