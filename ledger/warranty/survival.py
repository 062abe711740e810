"""How long balls last without a claim: the Kaplan-Meier curve of a group, and the log-rank test against another.

Times are ages in days since the sale; balls without a claim are censored where their time at risk ends.  The curve is
`scipy.stats.ecdf`; the standard error Greenwood's, the interval pointwise on the scale log(-log S) (Kalbfleisch and
Prentice 1980, from memory).  A share of claims among balls sold would be too small, since most balls are young.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import msgspec

from ledger.conformity.intervals import check_confidence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ledger.warranty.exposure import Floats, Spells

CONFIDENCE = 0.95


class CurvePoint(msgspec.Struct, frozen=True, kw_only=True):
    """After the claims at an age in days: how many balls were at risk just before, claims, the share without one, its SE.

    ``low`` and ``high`` are None where the share is 1 or 0: the interval does not exist there.
    """

    days: float
    at_risk: int
    claims: int
    share: float
    se: float
    low: float | None
    high: float | None


class Curve(msgspec.Struct, frozen=True, kw_only=True):
    """A curve: a point for each age with a claim; ``longest`` is the greatest time at risk in it."""

    balls: int
    claims: int
    longest: float
    points: tuple[CurvePoint, ...]

    def at(self, days: float) -> float:
        """The share without a claim at an age."""
        return next((point.share for point in reversed(self.points) if point.days <= days), 1.0)

    @property
    def median(self) -> float | None:
        """The first age at which half or fewer are without a claim; None where the curve does not come down to that."""
        return next((point.days for point in self.points if point.share <= 0.5), None)


class LogRank(msgspec.Struct, frozen=True, kw_only=True):
    """The log-rank test of two groups; ``p`` is one-sided: the first has the more claims."""

    chi2: float
    p: float


def kaplan_meier(spells: Spells, confidence: float = CONFIDENCE) -> Curve:
    """The curve of some balls; it has no point where none was claimed."""
    import numpy as np  # noqa: PLC0415  # costs start-up time, and only questions about claims need it
    from scipy.stats import ecdf  # noqa: PLC0415  # see above

    check_confidence(confidence)
    balls, claims = int(spells.balls.sum()), int(spells.balls[spells.claimed].sum())
    longest = float(spells.days.max()) if balls else 0.0
    if not claims:
        return Curve(balls=balls, claims=0, longest=longest, points=())
    function = ecdf(_censored(spells)).sf
    ages, died = _claims_by_age(spells)
    order = np.argsort(spells.days)
    over = np.concatenate(([0], np.cumsum(spells.balls[order])))
    at_risk = balls - over[np.searchsorted(spells.days[order], ages)]
    shares = function.evaluate(ages)
    with np.errstate(divide="ignore", invalid="ignore"):  # the last ball claimed: no share is left, and no error of it
        greenwood = np.sqrt(np.cumsum(died / (at_risk * (at_risk - died))))
    z = _quantile(confidence)
    points = tuple(
        _point(float(age), int(risk), int(number), share=float(share), spread=float(spread), z=z)
        for age, risk, number, share, spread in zip(ages, at_risk, died, shares, greenwood, strict=True)
    )
    return Curve(balls=balls, claims=claims, longest=longest, points=points)


def _point(age: float, risk: int, number: int, *, share: float, spread: float, z: float) -> CurvePoint:
    """``spread``: Greenwood's sum under its root, by which the share is multiplied for its standard error."""
    if not 0 < share < 1:
        return CurvePoint(days=age, at_risk=risk, claims=number, share=share, se=0.0, low=None, high=None)
    power = z * spread / abs(math.log(share))
    low, high = share ** math.exp(power), share ** math.exp(-power)
    return CurvePoint(days=age, at_risk=risk, claims=number, share=share, se=share * spread, low=low, high=high)


def log_rank(spells: Spells, rest: Spells) -> LogRank | None:
    """Whether the first balls are claimed sooner than the rest; None where a side has no ball or neither has a claim."""
    from scipy.stats import logrank  # noqa: PLC0415  # see above

    if not (len(spells.days) and len(rest.days) and (spells.claimed.any() or rest.claimed.any())):
        return None
    # In scipy's words the survival of the first is the less.
    found = logrank(_censored(spells), _censored(rest), alternative="greater")
    statistic = float(found.statistic)
    return LogRank(chi2=statistic**2, p=float(found.pvalue)) if math.isfinite(statistic) else None


def ages_at_risk(spells: Spells, ages: Sequence[float]) -> tuple[int, ...]:
    """How many balls were at risk at each age."""
    return tuple(int(spells.balls[spells.days >= age].sum()) for age in ages)


def _censored(spells: Spells) -> Any:
    """A ball each, as scipy takes them."""
    import numpy as np  # noqa: PLC0415  # see above
    from scipy.stats import CensoredData  # noqa: PLC0415  # see above

    return CensoredData.right_censored(np.repeat(spells.days, spells.balls), np.repeat(~spells.claimed, spells.balls))


class _ByAge(NamedTuple):
    ages: Floats
    claims: Floats


def _claims_by_age(spells: Spells) -> _ByAge:
    import numpy as np  # noqa: PLC0415  # see above

    ages, where = np.unique(spells.days[spells.claimed], return_inverse=True)
    return _ByAge(ages, np.bincount(where, spells.balls[spells.claimed]).astype(np.float64))


def _quantile(confidence: float) -> float:
    from scipy.special import ndtri  # noqa: PLC0415  # see above

    return -float(ndtri((1 - confidence) / 2))
