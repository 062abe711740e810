"""Whether one group has more claims than the rest: exact tests, one-sided, with mid-P, and the ratio with its interval.

*By exposure*: of K claims in all, a group whose exposure is a share s of the whole has Binomial(K, s) of them if its rate
is that of the rest (the conditional test of two Poisson rates).  *By balls*: of K claimed balls among N, a group of n has
Hypergeometric of them (Fisher's exact test).  Mid-P counts half the probability of what was seen, since the plain P of a
discrete test is too large on the average (Lancaster 1961, Biometrika 48; from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ledger.conformity.intervals import Interval, exact_interval
from ledger.errors import MalformedQuantity

if TYPE_CHECKING:
    from ledger.warranty.exposure import Floats

RATIO_METHOD = "exact, Clopper-Pearson, of the share of claims, mapped to the ratio"


def mid_p_by_exposure(claims: Any, of: Any, share: Any) -> Floats:
    """P of so many claims or more of ``of``, the seen count half, where the expected share is ``share``; arrays or numbers."""
    from scipy.stats import binom  # noqa: PLC0415  # loaded when asked for

    found: Floats = binom.sf(claims, of, share) + 0.5 * binom.pmf(claims, of, share)
    return found


def mid_p_by_balls(claimed: int, balls: int, rest_claimed: int, rest_balls: int) -> float:
    """The same from counts of balls, whatever their ages."""
    from scipy.stats import hypergeom  # noqa: PLC0415  # as above

    drawn = hypergeom(balls + rest_balls, claimed + rest_claimed, balls)
    return float(drawn.sf(claimed) + 0.5 * drawn.pmf(claimed))


def rate_ratio(claims: int, exposure: float, rest_claims: int, rest_exposure: float) -> float | None:
    """The group's rate over that of the rest; None where the rest has no claim, so that there is no upper bound."""
    _check_exposures(exposure, rest_exposure)
    return None if rest_claims == 0 else (claims / exposure) / (rest_claims / rest_exposure)


def ratio_interval(
    claims: int, exposure: float, rest_claims: int, rest_exposure: float, *, confidence: float = 0.95
) -> tuple[float, float | None]:
    """Both ends of the ratio, by the exact interval of the group's share of the claims; None: no upper end."""
    _check_exposures(exposure, rest_exposure)
    share: Interval = exact_interval(claims, claims + rest_claims, confidence)
    scale = rest_exposure / exposure
    high = None if rest_claims == 0 else scale * share.high / (1 - share.high)
    return scale * share.low / (1 - share.low), high


def _check_exposures(exposure: float, rest_exposure: float) -> None:
    if not (exposure > 0 and rest_exposure > 0):
        raise MalformedQuantity("rates need exposure on both sides", expected="more than 0", where="exposure")
