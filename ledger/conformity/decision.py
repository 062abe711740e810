"""A value against a limit by a decision rule, exactly: the outcome, the margin and the guard band.

- ``simple``: the value against the limit, uncertainty left out (JCGM 106:2012, 8.2);
- ``guarded``: conforms only when inside by w = r U, U = 2u; between limit and guard band it is undecided (8.3.2);
- ``three_way``: conformity or nonconformity is shown only beyond 1.65 u (ISO 14253-1:2017; 95 % on one side).  Where two
  limits lie so near that both tails count, conformity takes a probability of 95 % too.

Clauses are from memory.  Comparison is in fractions; probability and the number of readings are floating point, and
bear on no outcome but that of two near limits.  Scope, method and the words of a verdict are elsewhere.
"""

from __future__ import annotations

import functools
import math
from fractions import Fraction
from typing import Literal, NamedTuple

from ledger.conformity.facts import Measured
from ledger.conformity.house import Rule
from ledger.conformity.probability import (
    MOST_READINGS,
    SHOWN,
    THREE_WAY_FACTOR,
    TWO_SIDED_FACTOR,
    conformance_probability,
    parts_of,
    readings_to_decide,
)
from ledger.conformity.requirement import Requirement
from ledger.line.quantity import SCALE, UNITS, convert, format_number

Decided = Literal["conforms", "does_not_conform", "undecided"]

_THREE_WAY = Fraction(THREE_WAY_FACTOR)
_SHOWN_DIGITS = 4


class Figure(NamedTuple):
    """What is held against a limit: a value with its uncertainty, all in ``unit``.

    ``u``: standard uncertainty, None where it is not known; ``repeat``: the part of one of the ``readings`` that it
    stands on, None where that is not known.  ``counted`` names what is counted, in the singular.
    """

    value: Fraction
    unit: str
    u: Fraction | None = None
    repeat: Fraction | None = None
    readings: int = 1
    counted: str = "reading"

    def in_unit(self, unit: str) -> Figure:
        """The same, exactly, in another unit."""
        if unit == self.unit:
            return self
        u, repeat = (None if part is None else convert(part, self.unit, unit) for part in (self.u, self.repeat))
        return self._replace(value=convert(self.value, self.unit, unit), unit=unit, u=u, repeat=repeat)


class Decision(NamedTuple):
    """How a figure stands to a limit by one rule, in the limit's unit.

    ``margin``: positive inside the limit.  ``band``: the guard band, None where the rule has none or u is not known.
    ``factor``: the band in standard uncertainties.  ``why``: plain sentences.
    """

    outcome: Decided
    margin: Fraction
    band: Fraction | None
    factor: Fraction
    why: tuple[str, ...]


def figure_of(measured: Measured) -> Figure:
    """A measured value as it is held against a limit."""
    repeat = None if measured.repeat_scaled is None else Fraction(measured.repeat_scaled, SCALE)
    return Figure(measured.value, measured.unit, measured.u, repeat, measured.readings)


def rule_of(requirement: Requirement) -> Rule:
    """The decision rule that a requirement states."""
    return Rule(requirement.decision, requirement.guard_r)


def decide(requirement: Requirement, figure: Figure, rule: Rule) -> Decision:
    """The outcome by a rule. ``figure`` is in the limit's unit."""
    margin = _margin(requirement, figure.value)
    inside = margin > 0 if requirement.strict else margin >= 0
    if rule.decision == "simple":
        at_limit = ("the value lies on the limit",) if margin == 0 else ()
        return Decision("conforms" if inside else "does_not_conform", margin, None, Fraction(0), at_limit)
    factor = Fraction(rule.guard_r) * 2 if rule.decision == "guarded" else _THREE_WAY
    if figure.u is None:
        why = (f"the {rule.decision} rule needs an uncertainty, and the reading has none",)
        return Decision("undecided", margin, None, factor, why)
    band = factor * figure.u
    said = f"guard band {shown(band)} {UNITS[requirement.unit].printed}"
    fails = not inside if rule.decision == "guarded" else margin < -band or (not inside and band == 0)
    if fails:
        return Decision("does_not_conform", margin, band, factor, (said,))
    if inside and margin >= band:
        if rule.decision == "three_way" and probability_of(requirement, figure) < SHOWN:
            near = "the two limits are so near for the uncertainty that conformity is not shown with 95 %"
            return Decision("undecided", margin, band, Fraction(str(TWO_SIDED_FACTOR)), (said, near))
        return Decision("conforms", margin, band, factor, (said,))
    return Decision("undecided", margin, band, factor, (said, "the value is too near the limit for its uncertainty"))


def _margin(requirement: Requirement, value: Fraction) -> Fraction:
    low, high = requirement.low, requirement.high
    if low is None or high is None:
        return value - low if low is not None else (high or Fraction(0)) - value
    return min(value - low, high - value)


def probability_of(requirement: Requirement, figure: Figure) -> float:
    """The conformance probability of a figure with a known u, in the limit's unit; without a prior."""
    low, high = requirement.low, requirement.high
    return conformance_probability(
        float(figure.value),
        float(figure.u or 0),
        low=None if low is None else float(low),
        high=None if high is None else float(high),
    )


def acceptance_text(requirement: Requirement, band: Fraction | None) -> str:
    """The values that the rule accepts, as a limit is printed; empty where they are those of the limit itself."""
    if not band:
        return ""
    band = Fraction(shown(band))
    printed = UNITS[requirement.unit].printed
    if requirement.low is None or requirement.high is None:
        if requirement.low is not None:
            return f">= {format_number(requirement.low + band)} {printed}"
        return f"<= {format_number((requirement.high or 0) - band)} {printed}"
    low, high = requirement.low + band, requirement.high - band
    if low > high:
        return "none: the guard bands leave nothing between the limits"
    return f"{format_number(low)} to {format_number(high)} {printed}"


def more_readings_text(decision: Decision, figure: Figure) -> str:
    """What further readings would do for an undecided figure, in one plain sentence; empty where nothing can be said."""
    if figure.u is None or decision.factor == 0:
        return ""
    if decision.margin == 0:
        return f"more {figure.counted}s will not decide while their mean lies on the limit"
    if figure.repeat is None:
        return f"how many more {figure.counted}s would decide is not known: the scatter of one is not on record"
    parts = parts_of(float(figure.u), float(figure.repeat), figure.readings)
    further = readings_to_decide(float(decision.margin), parts, float(decision.factor))
    if further is None:
        fixed = f"{shown(Fraction(str(round(parts.fixed, 9))))} {UNITS[figure.unit].printed}"
        return (
            f"more {figure.counted}s will not decide: the gauge's own part of the uncertainty ({fixed}) stays, "
            "and is too large for this margin"
        )
    if further > MOST_READINGS:
        return f"more {figure.counted}s will not decide in practice: it would take about {float(f'{further:.2g}'):.0f}"
    further = max(1, further)
    if further == 1:
        return f"1 more {figure.counted} would likely decide, if the mean stays where it is"
    return f"{further} more {figure.counted}s would likely decide, if the mean stays where it is"


# A population has the few uncertainties of its gauges.
@functools.lru_cache(maxsize=4096)
def shown(value: Fraction, digits: int = _SHOWN_DIGITS) -> str:
    """A spread as decimal text: exact where it has few digits, else rounded away from zero to so many."""
    if value == 0:
        return "0"
    step = Fraction(10) ** (math.floor(math.log10(abs(value))) - digits + 1)
    return format_number(math.ceil(abs(value) / step) * step * (1 if value > 0 else -1))
