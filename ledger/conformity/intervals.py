"""Confidence intervals of a share and of the capability indices, each with the name of its method.

Share: Wilson's score interval and the exact one (Clopper and Pearson); NIST/SEMATECH e-Handbook 7.2.4.1.
Cp: from the chi-square distribution of s squared.  Cpk and one-sided indices: Bissell's normal approximation, which the
e-Handbook (6.1.6) gives too.  Both take the values for a sample of a normal distribution; the shares do not.
"""

from __future__ import annotations

import math
from typing import Literal

import msgspec

from ledger.errors import MalformedQuantity

Side = Literal["both", "lower", "upper"]


class Interval(msgspec.Struct, frozen=True, kw_only=True):
    """Both ends, the confidence in them (0 to 1) and the method; an end that was not asked for is the natural one."""

    low: float
    high: float
    confidence: float
    method: str


def check_confidence(confidence: float, where: str = "confidence") -> None:
    """The confidence lies between 0 and 1, neither included, or MalformedQuantity is raised."""
    if not 0 < confidence < 1:
        raise MalformedQuantity(f"{where} is out of range", expected="between 0 and 1", got=confidence, where=where)


def _check_share(hits: int, count: int, confidence: float) -> None:
    check_confidence(confidence)
    if count < 1 or not 0 <= hits <= count:
        raise MalformedQuantity("share is none", expected=f"0 to {count} of at least 1", got=hits, where="hits")


def _tail(confidence: float, side: Side) -> float:
    return (1 - confidence) / 2 if side == "both" else 1 - confidence


def wilson_interval(hits: int, count: int, confidence: float = 0.95, side: Side = "both") -> Interval:
    """Wilson's score interval of ``hits`` in ``count``, without continuity correction."""
    from scipy.special import ndtri  # noqa: PLC0415  # loaded when asked for

    _check_share(hits, count, confidence)
    z = -float(ndtri(_tail(confidence, side)))
    share, z2n = hits / count, z * z / count
    centre = (share + z2n / 2) / (1 + z2n)
    half = z * math.sqrt(share * (1 - share) / count + z2n / (4 * count)) / (1 + z2n)
    # The ends are exactly 0 and 1 there; rounding would miss them by the last bit.
    low = 0.0 if hits == 0 or side == "upper" else centre - half
    high = 1.0 if hits == count or side == "lower" else centre + half
    return Interval(low=low, high=high, confidence=confidence, method="Wilson score")


def exact_interval(hits: int, count: int, confidence: float = 0.95, side: Side = "both") -> Interval:
    """Clopper and Pearson's interval: never less confident than stated, and wider for it."""
    from scipy.special import betaincinv  # noqa: PLC0415  # loaded when asked for

    _check_share(hits, count, confidence)
    tail = _tail(confidence, side)
    low = 0.0 if hits == 0 or side == "upper" else float(betaincinv(hits, count - hits + 1, tail))
    high = 1.0 if hits == count or side == "lower" else float(betaincinv(hits + 1, count - hits, 1 - tail))
    return Interval(low=low, high=high, confidence=confidence, method="exact, Clopper-Pearson")


def cp_interval(cp: float, count: int, confidence: float = 0.95) -> Interval:
    """The two-sided interval of Cp from ``count`` values: cp times the roots of chi-square over its degrees."""
    from scipy.special import chdtri  # noqa: PLC0415  # loaded when asked for

    _check_index(cp, count, confidence)
    tail = (1 - confidence) / 2
    low, high = (cp * math.sqrt(float(chdtri(count - 1, upper)) / (count - 1)) for upper in (1 - tail, tail))
    return Interval(low=low, high=high, confidence=confidence, method="chi-square")


def cpk_interval(cpk: float, count: int, confidence: float = 0.95) -> Interval:
    """The two-sided interval of Cpk, or of a one-sided index: cpk +- z sqrt(1/(9n) + cpk^2/(2(n-1)))."""
    from scipy.special import ndtri  # noqa: PLC0415  # loaded when asked for

    _check_index(cpk, count, confidence)
    z = -float(ndtri((1 - confidence) / 2))
    half = z * math.sqrt(1 / (9 * count) + cpk * cpk / (2 * (count - 1)))
    return Interval(low=cpk - half, high=cpk + half, confidence=confidence, method="Bissell's normal approximation")


def _check_index(index: float, count: int, confidence: float) -> None:
    check_confidence(confidence)
    if count < 2:
        raise MalformedQuantity("interval needs more values", expected="at least 2", got=count, where="count")
    if not math.isfinite(index):
        raise MalformedQuantity("index is not a number", got=index, where="index")
