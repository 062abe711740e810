"""The constants of control charts, generated rather than typed: d2 and d3 of the range, c4 of the standard deviation.

d2 and d3 by integration of the range's distribution, c4 by the gamma function.  Source of the tables that they are held
against: NIST/SEMATECH e-Handbook 6.3.2.1 and ASTM E2587.
"""

from __future__ import annotations

import functools
import math

from ledger.errors import MalformedQuantity

_SERIES_FROM = 200


@functools.cache
def d2(n: int) -> float:
    """The mean of the range of ``n`` values of a standard normal distribution."""
    return _range_moment(n, 1)


@functools.cache
def d3(n: int) -> float:
    """The standard deviation of that range."""
    return math.sqrt(_range_moment(n, 2) - d2(n) ** 2)


@functools.cache
def c4(n: int) -> float:
    """The mean of the standard deviation s of ``n`` values of a standard normal distribution."""
    _check_size(n)
    if n < _SERIES_FROM:
        return math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))
    # The two logarithms grow and their difference does not: for large n what is left of it is rounding.
    x = 2 / (n - 1)
    return 1 - x / 8 + x**2 / 128 + 5 * x**3 / 1024 - 21 * x**4 / 32768 - 399 * x**5 / 262144


def _check_size(n: int) -> None:
    if n < 2:
        raise MalformedQuantity("a range needs more values", expected="at least 2", got=n, where="subgroup size")


def _range_moment(n: int, power: int) -> float:
    """E(W^power) of the range W: the integral of power w^(power-1) P(W > w)."""
    from scipy.integrate import quad  # noqa: PLC0415  # loaded when asked for

    _check_size(n)

    def phi(x: float) -> float:
        return math.erfc(-x / math.sqrt(2)) / 2

    def beyond(w: float) -> float:
        # P(W <= w): the least value at x, and the others between x and x + w.
        def least_at(x: float) -> float:
            return math.exp(-x * x / 2) * max(phi(x + w) - phi(x), 0.0) ** (n - 1)

        area, _ = quad(least_at, -9, 9, epsabs=1e-13, epsrel=1e-11, limit=200)
        return float(1 - n * area / math.sqrt(2 * math.pi))

    moment, _ = quad(lambda w: power * w ** (power - 1) * beyond(w), 0, 16, epsabs=1e-11, epsrel=1e-10, limit=200)
    return float(moment)
