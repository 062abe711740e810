"""Factors k of normal tolerance intervals: mean + k s covers a share of the balls with a stated confidence.

Exact: one-sided from the noncentral t distribution, two-sided by integration (ISO 16269-6; clause from memory).
Beside them the e-Handbook's approximations (7.2.6.3), Natrella's one-sided and Howe's two-sided, which differ in the
third decimal for some 40 values and in the first for 2.  A report names the one it uses.
"""

from __future__ import annotations

import functools
import math

import msgspec

from ledger.conformity.intervals import check_confidence
from ledger.errors import MalformedQuantity


class Factors(msgspec.Struct, frozen=True, kw_only=True):
    """The factors for ``count`` values, a share ``content`` (0 to 1) and a confidence; None where Natrella's has no root."""

    count: int
    content: float
    confidence: float
    one_sided: float
    one_sided_natrella: float | None
    two_sided: float
    two_sided_howe: float


def factors(count: int, content: float = 0.99, confidence: float = 0.95) -> Factors:
    """All four factors. Raises MalformedQuantity for fewer than 2 values or a share or confidence outside 0 to 1."""
    return Factors(
        count=count,
        content=content,
        confidence=confidence,
        one_sided=one_sided(count, content, confidence),
        one_sided_natrella=one_sided_natrella(count, content, confidence),
        two_sided=two_sided(count, content, confidence),
        two_sided_howe=two_sided_howe(count, content, confidence),
    )


def _check(count: int, content: float, confidence: float) -> None:
    check_confidence(confidence)
    check_confidence(content, "content")
    if count < 2:
        raise MalformedQuantity("tolerance interval needs more values", expected="at least 2", got=count, where="count")


def one_sided(count: int, content: float, confidence: float) -> float:
    """The exact one-sided factor: a quantile of noncentral t over the root of n."""
    from scipy.special import nctdtrit, ndtri  # noqa: PLC0415  # loaded when asked for

    _check(count, content, confidence)
    root = math.sqrt(count)
    return float(nctdtrit(count - 1, float(ndtri(content)) * root, confidence)) / root


def one_sided_natrella(count: int, content: float, confidence: float) -> float | None:
    """Natrella's approximation; None for so few values that its denominator is not positive."""
    from scipy.special import ndtri  # noqa: PLC0415  # loaded when asked for

    _check(count, content, confidence)
    zp, zc = float(ndtri(content)), float(ndtri(confidence))
    a = 1 - zc * zc / (2 * (count - 1))
    b = zp * zp - zc * zc / count
    under = zp * zp - a * b
    return (zp + math.sqrt(under)) / a if a > 0 and under >= 0 else None


def two_sided_howe(count: int, content: float, confidence: float) -> float:
    """Howe's approximation: z sqrt((n-1)(1+1/n)/chi-square)."""
    from scipy.special import chdtri, ndtri  # noqa: PLC0415  # loaded when asked for

    _check(count, content, confidence)
    z = float(ndtri((1 + content) / 2))
    return z * math.sqrt((count - 1) * (1 + 1 / count) / float(chdtri(count - 1, confidence)))


@functools.lru_cache(maxsize=256)
def two_sided(count: int, content: float, confidence: float) -> float:
    """The exact two-sided factor, to 1e-9 or so; some milliseconds the first time.

    For a mean that lies x (in sigmas) from the true one, the interval covers the content if k s >= R(x), where
    Phi(x + R) - Phi(x - R) = content.  The chance of that, averaged over x ~ N(0, 1/n), has to equal the confidence.
    """
    from scipy.integrate import quad  # noqa: PLC0415  # loaded when asked for
    from scipy.optimize import brentq  # noqa: PLC0415
    from scipy.special import chdtrc  # noqa: PLC0415

    _check(count, content, confidence)
    df, root = count - 1, math.sqrt(count)

    def short_of(k: float) -> float:
        def covered(t: float) -> float:  # t: x in its own standard deviations
            ratio = _reach(t / root, content) / k
            return float(chdtrc(df, df * ratio * ratio)) * math.exp(-t * t / 2)

        area, _ = quad(covered, 0, 9, epsabs=1e-12, epsrel=1e-11, limit=200)
        return float(area) * math.sqrt(2 / math.pi) - confidence

    start = two_sided_howe(count, content, confidence)
    low, high = start / 2, start * 2
    while short_of(low) > 0:
        low /= 2
    while short_of(high) < 0:
        high *= 2
    return float(brentq(short_of, low, high, xtol=1e-11, rtol=1e-12))


@functools.lru_cache(maxsize=65_536)
def _reach(x: float, content: float) -> float:
    """R with Phi(x + R) - Phi(x - R) = content, by Newton's steps held in a bracket; x is not negative."""
    from scipy.special import ndtr, ndtri  # noqa: PLC0415  # loaded when asked for

    # R is at least what a centred interval needs, at least what one side needs, and at most both together.
    centred = float(ndtri((1 + content) / 2))
    low, high = max(centred, x + float(ndtri(content))), x + centred
    reach = low
    for _ in range(100):
        gap = float(ndtr(x + reach)) - float(ndtr(x - reach)) - content
        low, high = (low, reach) if gap > 0 else (reach, high)
        slope = (math.exp(-((x + reach) ** 2) / 2) + math.exp(-((x - reach) ** 2) / 2)) / math.sqrt(2 * math.pi)
        step = reach - gap / slope if slope else high
        following = step if low <= step <= high else (low + high) / 2
        if abs(following - reach) < 1e-13 * (1 + reach):
            return following
        reach = following
    return reach
