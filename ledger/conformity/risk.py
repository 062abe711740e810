"""What a decision rule costs over a whole production: the consumer's and the producer's global risk.

A ball's true value Y is normal about the production's mean, and its reading X normal about Y:
Y ~ N(y0, u0), X|Y ~ N(Y, um).  A ball is accepted when X lies in the acceptance interval, the limits moved inwards by w.
``consumer`` is P(nonconforming and accepted), ``producer`` P(conforming and not accepted): guarding trades the one for the
other (JCGM 106:2012, 9.5; clause from memory).  A ball that a rule leaves undecided is not accepted.  The risk of one ball with its reading known is
``probability.specific_risk``.
"""

from __future__ import annotations

import functools
import math
from itertools import pairwise
from typing import NamedTuple

from ledger.conformity.probability import acceptance_limits, conformance_probability

_NODES = 24
"""Gauss-Legendre nodes a panel; a panel is at most one standard deviation wide, where 24 are exact to the last digits."""

_REACH = 9
"""Standard deviations beyond which a normal distribution holds less than 1e-18."""


class Production(NamedTuple):
    """The spread of true values: mean and standard deviation, without the measurement's own scatter."""

    mean: float
    sd: float


class Tolerance(NamedTuple):
    """A lower limit, an upper one, or both."""

    low: float | None = None
    high: float | None = None


class GlobalRisk(NamedTuple):
    """Shares of the production: accepted but nonconforming, conforming but not accepted, conforming, accepted."""

    consumer: float
    producer: float
    conforming: float
    accepted: float


def global_risk(production: Production, um: float, tolerance: Tolerance, w: float = 0.0) -> GlobalRisk:
    """The risks of accepting by readings of standard uncertainty ``um`` with a guard band ``w`` (w = 0: simple).

    By quadrature, to about 1e-12; a few milliseconds.  A production without spread is one value.
    """
    low, high = acceptance_limits(tolerance.low, tolerance.high, w)
    nothing = low is not None and high is not None and low > high

    def accepts(true: float) -> float:
        return 0.0 if nothing else conformance_probability(true, um, low=low, high=high)

    def conforms(true: float) -> bool:
        return conformance_probability(true, 0, low=tolerance.low, high=tolerance.high) > 0

    conforming = conformance_probability(production.mean, production.sd, low=tolerance.low, high=tolerance.high)
    if production.sd <= 0:
        accepted = accepts(production.mean)
        both = accepted if conforms(production.mean) else 0.0
        return GlobalRisk(accepted - both, conforming - both, conforming, accepted)
    consumer = producer = accepted = 0.0
    for true, weight in _weighted(production, _breaks(production, um, (*tolerance, low, high))):
        chance = accepts(true)
        accepted += weight * chance
        if conforms(true):
            producer += weight * (1 - chance)
        else:
            consumer += weight * chance
    return GlobalRisk(consumer, producer, conforming, accepted)


def _breaks(production: Production, um: float, edges: tuple[float | None, ...]) -> list[float]:
    """Where panels meet: every standard deviation of the production, and of a reading about each edge."""
    first, last = (production.mean + sign * _REACH * production.sd for sign in (-1, 1))
    points = {production.mean + step * production.sd for step in range(-_REACH, _REACH + 1)}
    for edge in edges:
        if edge is not None:
            points |= {edge + step * um for step in range(-_REACH, _REACH + 1)}
    return sorted(point for point in points if first <= point <= last)


def _weighted(production: Production, breaks: list[float]) -> list[tuple[float, float]]:
    """Values of Y with the share of the production that each stands for."""
    scale = 1 / (production.sd * math.sqrt(2 * math.pi))
    weighted = []
    for left, right in pairwise(breaks):
        half, middle = (right - left) / 2, (right + left) / 2
        for node, weight in _gauss_legendre():
            true = middle + half * node
            away = (true - production.mean) / production.sd
            weighted.append((true, half * weight * scale * math.exp(-away * away / 2)))
    return weighted


@functools.cache
def _gauss_legendre() -> tuple[tuple[float, float], ...]:
    # numpy takes a tenth of a second to import, and most who import this module judge single balls.
    from numpy.polynomial.legendre import leggauss  # noqa: PLC0415

    places, weights = leggauss(_NODES)
    return tuple(zip(places.tolist(), weights.tolist(), strict=True))
