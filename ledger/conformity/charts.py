"""Control charts: individuals with moving range (I-mR), and subgroup means with standard deviations (Xbar-S).

Sources: NIST/SEMATECH e-Handbook 6.3.2.1 (Xbar-S) and 6.3.2.2 (I-mR); ASTM E2587 for the names.  The handbook's I-mR
example takes d2 = 1.128; the exact 1.128379 moves its limits by 0.0017.

Conventions: run rules 2 to 4 (see ``run_rules``) are read on individuals and means alone: moving ranges overlap, and
ranges and standard deviations are not symmetric.  Subgroups may differ in size, and then the limits do from point to
point: the centre is the mean of all readings, and sigma the average of s/c4 weighted by c4^2/(1 - c4^2), which for equal
sizes is the mean s over c4 (Burr 1969, from memory).  A subgroup of one reading has a mean and no s.

Readings are whole millionths of one unit; values on a chart are in that unit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

import msgspec

from ledger.conformity.chart_constants import c4
from ledger.conformity.moments import Moments
from ledger.conformity.run_rules import Signal, scan
from ledger.errors import MalformedQuantity
from ledger.line.quantity import SCALE

FEW_POINTS = 20
PROVISIONAL = f"fewer than {FEW_POINTS} points: the limits are provisional (common practice, no source)"
WITHIN = (
    "limits come from the scatter within subgroups: where lots differ more than the balls in one, means signal often, "
    "and a chart of the means as individuals says more"
)
NO_SCATTER = "the readings show no scatter: the limits fall on the centre line, and no rule is read"


class Point(msgspec.Struct, frozen=True):
    """A plotted value with its label, its own limits, and how many readings it stands for."""

    label: str
    value: float
    lower: float
    upper: float
    count: int


class Chart(msgspec.Struct, frozen=True, kw_only=True):
    """One chart. ``sigma``: the estimated standard deviation of one reading; ``centre``: the line of every point.

    ``centres``: the centre line point by point where subgroup sizes move it, else empty.  ``first``: the number of the
    first point, 2 for moving ranges, so that a reading has one number on both charts.
    """

    id: str
    name: str
    centre: float
    sigma: float
    points: tuple[Point, ...]
    signals: tuple[Signal, ...]
    centres: tuple[float, ...] = ()
    cautions: tuple[str, ...] = ()
    first: int = 1

    def centre_at(self, index: int) -> float:
        """The centre line at a point."""
        return self.centres[index] if self.centres else self.centre


def individuals_charts(readings: Sequence[tuple[str, int]], *, d2_of_2: float | None = None) -> tuple[Chart, Chart]:
    """The individuals chart and the moving range chart of labelled readings in their order.

    ``d2_of_2``: the constant to use, for an example that rounded it; otherwise exactly 2/sqrt(pi).
    Raises MalformedQuantity for fewer than 2 readings.
    """
    if len(readings) < 2:
        raise MalformedQuantity("chart needs more readings", expected="at least 2", got=len(readings), where="readings")
    values = [value for _, value in readings]
    n, total = len(values), sum(values)
    ranges = [abs(late - early) for early, late in pairwise(values)]
    mean = float(Fraction(total, n * SCALE))
    mr_bar = float(Fraction(sum(ranges), (n - 1) * SCALE))
    constant = d2_of_2 or 2 / math.sqrt(math.pi)
    sigma = mr_bar / constant
    # Whole-number differences, so that a reading on the mean is exactly on the centre line.
    z = [float(Fraction(n * value - total, n * SCALE)) / sigma for value in values] if sigma else []
    upper_range = mr_bar + 3 * sigma * math.sqrt(2 - 4 / math.pi)
    cautions = _cautions(n, sigma)
    individuals = Chart(
        id="individuals",
        name="individual readings",
        centre=mean,
        sigma=sigma,
        points=tuple(Point(label, value / SCALE, mean - 3 * sigma, mean + 3 * sigma, 1) for label, value in readings),
        signals=scan(z),
        cautions=cautions,
    )
    moving = Chart(
        id="moving_range",
        name="moving range of 2",
        first=2,
        centre=mr_bar,
        sigma=sigma,
        points=tuple(
            Point(label, moved / SCALE, 0.0, upper_range, 2)
            for (label, _), moved in zip(readings[1:], ranges, strict=True)
        ),
        signals=scan(
            [3 * (moved / SCALE - mr_bar) / (upper_range - mr_bar) for moved in ranges] if sigma else [], (1,)
        ),
        cautions=cautions,
    )
    return individuals, moving


def _cautions(points: int, sigma: float) -> tuple[str, ...]:
    said = [PROVISIONAL] if points < FEW_POINTS else []
    return (*said, *(() if sigma else (NO_SCATTER,)))


def subgroup_charts(subgroups: Sequence[tuple[str, Moments]]) -> tuple[Chart, Chart]:
    """The Xbar and the S chart of labelled subgroups in their order, each given by its moments.

    Raises MalformedQuantity for fewer than 2 subgroups, an empty one, or none of at least 2 readings.
    """
    if len(subgroups) < 2:
        raise MalformedQuantity(
            "chart needs more subgroups", expected="at least 2", got=len(subgroups), where="subgroups"
        )
    for label, group in subgroups:
        if group.count < 1:
            raise MalformedQuantity("subgroup is empty", expected="at least one reading", got=0, where=label)
    spread = [(label, group) for label, group in subgroups if group.count > 1]
    if not spread:
        raise MalformedQuantity("no subgroup shows a scatter", expected="one of at least 2 readings", where="subgroups")
    sigma = _sigma([group for _, group in spread])
    return _means(subgroups, sigma), _deviations(spread, sigma)


def _sigma(groups: Sequence[Moments]) -> float:
    weights = [c4(group.count) ** 2 / (1 - c4(group.count) ** 2) for group in groups]
    over = math.fsum(weight * group.s / c4(group.count) for weight, group in zip(weights, groups, strict=True))
    return over / math.fsum(weights)


def _means(subgroups: Sequence[tuple[str, Moments]], sigma: float) -> Chart:
    together = sum((group for _, group in subgroups), Moments())
    centre, mean = together.mean, float(together.mean)
    errors = [sigma / math.sqrt(group.count) for _, group in subgroups]
    z = [float(group.mean - centre) / error for (_, group), error in zip(subgroups, errors, strict=True) if error]
    return Chart(
        id="xbar",
        name="subgroup means",
        centre=mean,
        sigma=sigma,
        points=tuple(
            Point(label, float(group.mean), mean - 3 * error, mean + 3 * error, group.count)
            for (label, group), error in zip(subgroups, errors, strict=True)
        ),
        signals=scan(z),
        cautions=(*_cautions(len(subgroups), sigma), WITHIN),
    )


def _deviations(subgroups: Sequence[tuple[str, Moments]], sigma: float) -> Chart:
    centres = [c4(group.count) * sigma for _, group in subgroups]
    errors = [sigma * math.sqrt(1 - c4(group.count) ** 2) for _, group in subgroups]
    points = tuple(
        Point(label, group.s, max(0.0, centre - 3 * error), centre + 3 * error, group.count)
        for (label, group), centre, error in zip(subgroups, centres, errors, strict=True)
    )
    z = [(point.value - centre) / error for point, centre, error in zip(points, centres, errors, strict=True) if error]
    return Chart(
        id="s",
        name="subgroup standard deviations",
        centre=math.fsum(centres) / len(centres),
        sigma=sigma,
        points=points,
        signals=scan(z, (1,)),
        centres=tuple(centres) if len(set(centres)) > 1 else (),
        cautions=_cautions(len(subgroups), sigma),
    )


def signal_lines(chart: Chart) -> tuple[str, ...]:
    """Each signal in words, by rule and point: "point 7, LOT-12: beyond 3 sigma above (rule 1)"; points count from the chart's first."""
    return tuple(
        f"point {signal.index + chart.first}, {chart.points[signal.index].label}: {signal.words} (rule {signal.rule})"
        for signal in chart.signals
    )
