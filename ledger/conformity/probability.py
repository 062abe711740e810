"""How likely a value conforms, where acceptance ends, and how many further readings would decide.

Floating point and the standard library alone; exact comparison with a limit is in ``decision``.  The measured quantity
is taken as normal about the measured value with the standard uncertainty, and **no prior** is used: nothing that is
known of the production moves it, so a value on a single limit has probability one half (JCGM 106:2012, 7.2 to 7.4).
What the production's spread does is in ``risk``.  Clauses are from memory.
"""

from __future__ import annotations

import math
from typing import NamedTuple

THREE_WAY_FACTOR = "1.65"
"""Guard band of the three-way rule in standard uncertainties: 95 % on one side (ISO 14253-1:2017, default)."""

TWO_SIDED_FACTOR = 1.96
"""The same where both limits are so near that each tail may only hold 2.5 %."""

SHOWN = 0.95
"""Probability from which the three-way rule calls conformity, or nonconformity, shown."""

MOST_READINGS = 1_000
"""Further readings beyond which nobody takes them: common practice, no source."""


def normal_below(z: float) -> float:
    """Phi: the share of a standard normal distribution below ``z``."""
    return 0.5 * math.erfc(-z / math.sqrt(2))


def conformance_probability(value: float, u: float, *, low: float | None = None, high: float | None = None) -> float:
    """The probability pc = Phi((high - value)/u) - Phi((low - value)/u); a limit that is not there drops its term; no prior.

    With u = 0 it is 1 or 0, limits included.  Source: JCGM 106:2012, 7.3 and 7.4.
    """
    if u <= 0:
        inside = (low is None or value >= low) and (high is None or value <= high)
        return 1.0 if inside else 0.0
    under = math.inf if high is None else (high - value) / u
    over = -math.inf if low is None else (low - value) / u
    if over > 0:
        # Both limits lie above the value: taken from the other tail, so that small shares keep their digits.
        return max(0.0, normal_below(-over) - normal_below(-under))
    return max(0.0, normal_below(under) - normal_below(over))


def probability_text(probability: float) -> str:
    """Three decimals; near 0 and 1 as many as give the smaller share two digits, at most six.

    Only what is certain is printed as 0 or 1.
    """
    if probability in (0.0, 1.0):
        return f"{probability:.0f}"
    tail = min(probability, 1 - probability)
    places = 3 if tail >= 0.01 else min(6, 1 - math.floor(math.log10(tail))) if tail >= 1e-6 else 6
    return f"{min(max(probability, 10.0**-places), 1 - 10.0**-places):.{places}f}"


def guard_band(r: float, u: float) -> float:
    """The band w = r U, with U = 2u (JCGM 106:2012, 8.3.2); r below zero guards rejection."""
    return r * 2 * u


def acceptance_limits(low: float | None, high: float | None, w: float) -> tuple[float | None, float | None]:
    """A = T with each limit moved inwards by w (outwards where w is below zero), lower and upper (JCGM 106:2012, 8.3)."""
    return None if low is None else low + w, None if high is None else high - w


def capability_index(low: float, high: float, um: float) -> float:
    """Measurement capability index Cm = T / (4 um): the tolerance over twice U (JCGM 106:2012, 7.6.3)."""
    return (high - low) / (4 * um)


def specific_risk(probability: float, *, accepted: bool) -> float:
    """The chance that the decision on this one ball is wrong: the consumer's where accepted, else the producer's."""
    return 1 - probability if accepted else probability


class Parts(NamedTuple):
    """A standard uncertainty in its two parts: u^2 = repeat^2 / readings + fixed^2.

    ``repeat``: standard deviation of one reading.  ``readings``: how many the mean stands on.  ``fixed``: what more
    readings leave as it is, such as the gauge's calibration.
    """

    repeat: float
    readings: int
    fixed: float

    @property
    def u(self) -> float:
        """The standard uncertainty of the mean."""
        return self.with_readings(self.readings)

    def with_readings(self, readings: int) -> float:
        """The standard uncertainty that the mean of so many readings would have."""
        return math.hypot(self.repeat / math.sqrt(readings), self.fixed)


def parts_of(u: float, repeat: float, readings: int) -> Parts:
    """The parts of a known u; the fixed one is zero where the readings' scatter alone is u or more."""
    return Parts(repeat, readings, math.sqrt(max(0.0, u * u - repeat * repeat / readings)))


def readings_to_decide(margin: float, parts: Parts, factor: float) -> int | None:
    """Further readings after which the guard band, ``factor`` times u, is no wider than the margin's size.

    It supposes that the mean stays where it is, so it says what is likely and promises nothing.  None: no number of
    readings will, since the part that they leave as it is fills the margin alone.
    """
    room = (abs(margin) / factor) ** 2 - parts.fixed**2 if factor > 0 else math.inf
    if parts.with_readings(parts.readings) * factor <= abs(margin):
        return 0
    if room <= 0 or parts.repeat <= 0:
        return None
    wanted = parts.repeat**2 / room
    if not math.isfinite(wanted) or wanted > 1e15:
        return None
    needed = max(parts.readings + 1, math.ceil(wanted))
    # The last digit of the division may fall to the wrong side of a whole number.
    return (
        needed - parts.readings if parts.with_readings(needed) * factor <= abs(margin) else needed + 1 - parts.readings
    )
