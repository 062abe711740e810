"""Charts of a report: for each quantity the values of its balls, with the limits and their guard bands.

Of few balls each is a dot with its uncertainty, of many there is a histogram.  A guard band is drawn as wide as the widest
that any of these balls was judged with; the rule of the house counts too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from msgspec import UNSET

from ledger.conformity.bins import bin_readings
from ledger.conformity.probability import THREE_WAY_FACTOR
from ledger.conformity.requirement import Requirement
from ledger.conformity.svg_text import show, ticks
from ledger.evidence.pdf.figures import Judged, name_of, pretty_limit
from ledger.evidence.pdf.pen import ACCENT, BAR, EDGE, HEAD_3, INK, LINE, SMALL, SMALL_INK, SOFT, Pen
from ledger.evidence.pdf.words import many
from ledger.line.quantity import SCALE, UNITS, format_number

CHART_HEIGHT = 51.0

MOST_DOTS = 24
"""Balls up to which each is a dot."""

_HALF = Fraction(1, 2)


@dataclass(slots=True)
class Limit:
    """A limit of some rulebooks, by name, and the widest guard band that was used with it, in its unit."""

    requirement: Requirement
    rulebooks: list[str] = field(default_factory=list)
    band: Fraction = Fraction(0)

    @property
    def ends(self) -> list[float]:
        """The lower and the upper end, as far as there are such."""
        return [float(end) for end in (self.requirement.low, self.requirement.high) if end is not None]

    def excludes(self, value: float) -> bool:
        """Whether a value lies outside; floating point, for a drawing."""
        low, high = self.requirement.low, self.requirement.high
        return (low is not None and value < float(low)) or (high is not None and value > float(high))

    def words(self) -> str:
        """The limit, whose it is, and its guard band."""
        said = f"limit {pretty_limit(self.requirement.limit_text)} of {', '.join(self.rulebooks)}"
        return f"{said}, guard band up to {float(self.band):.2g}" if self.band else said


@dataclass(slots=True)
class Series:
    """The values of one quantity in one unit with their U, by ball, and the limits that they were held against."""

    name: str
    unit: str
    values: dict[str, tuple[Fraction, Fraction | None]] = field(default_factory=dict)
    limits: dict[tuple[str, ...], Limit] = field(default_factory=dict)

    def words(self) -> str:
        """The chart in words."""
        values = sorted(value for value, _ in self.values.values())
        low, high = format_number(values[0]), format_number(values[-1])
        said = f"{self.name}: {many(len(values), 'ball')}, {low if low == high else f'{low} to {high}'} {self.unit}"
        return "; ".join([said, *(limit.words() for limit in self.limits.values())])


class _Frame(NamedTuple):
    """Where the values of a chart lie: a value to its place across, the upper and the lower edge, the reach of values."""

    at: Callable[[float], float]
    top: float
    base: float
    low: float
    high: float


def series_of(judged: Iterable[tuple[str, str, Judged]]) -> list[Series]:
    """The series of verdicts given as unit of the book, rulebook and verdict; in the order in which quantities come first."""
    found: dict[tuple[str, ...], Series] = {}
    for unit, rulebook, one in judged:
        if not one.value:
            continue
        requirement = one.requirement
        key = (requirement.quantity, requirement.definition, requirement.unit)
        series = found.setdefault(key, Series(name_of(requirement), UNITS[requirement.unit].printed))
        series.values[unit] = (Fraction(one.value), one.expanded)
        limit = series.limits.setdefault((requirement.operator, *requirement.limits), Limit(requirement))
        if rulebook not in limit.rulebooks:
            limit.rulebooks.append(rulebook)
        limit.band = max(limit.band, _band_of(one))
    return [*found.values()]


def _band_of(one: Judged) -> Fraction:
    house = one.line.house
    by_house = Fraction(house.guard_band) if house is not UNSET and house.guard_band is not UNSET else Fraction(0)
    factors = {"guarded": Fraction(one.requirement.guard_r), "three_way": Fraction(THREE_WAY_FACTOR) * _HALF}
    own = (one.expanded or Fraction(0)) * factors.get(one.requirement.decision, Fraction(0))
    return max(own, by_house)


def draw_chart(pen: Pen, corner: tuple[float, float], wide: float, series: Series) -> None:
    """Draw one chart in its box of `CHART_HEIGHT`."""
    x, y = corner
    limits = [*series.limits.values()]
    pen.write(x, y + 3.4, pen.shortened(f"{series.name}, {series.unit}", HEAD_3, wide - 20), HEAD_3)
    pen.write(x + wide, y + 3.4, many(len(series.values), "ball"), SMALL, align="R")
    told = [limit.words() for limit in (limits if len(limits) <= 3 else limits[:2])]
    told += [f"and {len(limits) - 2} further limits"] if len(limits) > 3 else []
    for number, said in enumerate(told):
        pen.write(x, y + 7 + 3 * number, pen.shortened(said, SMALL, wide), SMALL)
    frame = _frame(series, limits, corner, wide)._replace(top=y + 10 + 3 * len(told))
    for limit in limits:
        _draw_band(pen, limit, frame)
    if len(series.values) <= MOST_DOTS:
        _draw_dots(pen, series, frame, limits)
    else:
        _draw_bars(pen, series, frame, limits)
    for end in (end for limit in limits for end in limit.ends):
        pen.line([(frame.at(end), frame.top - 2), (frame.at(end), frame.base)], tone=ACCENT, width=0.45, dash=1.4)
    _draw_axis(pen, frame, x, wide)


def _frame(series: Series, limits: Sequence[Limit], corner: tuple[float, float], wide: float) -> _Frame:
    ends = [end for limit in limits for end in limit.ends]
    for value, expanded in series.values.values():
        ends += [float(value - (expanded or 0)), float(value + (expanded or 0))]
    room = (max(ends) - min(ends)) * 0.07 or 1.0
    low, high = min(ends) - room, max(ends) + room
    x, y = corner

    def at(value: float) -> float:
        return x + 1 + (wide - 2) * (value - low) / (high - low)

    return _Frame(at, y + 13, y + CHART_HEIGHT - 8, low, high)


def _draw_axis(pen: Pen, frame: _Frame, x: float, wide: float) -> None:
    pen.line([(x, frame.base), (x + wide, frame.base)], tone=INK, width=0.25)
    values, places = ticks(frame.low, frame.high, 5)
    for value in values:
        if frame.low <= value <= frame.high:
            at = frame.at(value)
            pen.line([(at, frame.base), (at, frame.base + 1)], tone=INK, width=0.2)
            pen.write(min(max(at, x + 4), x + wide - 4), frame.base + 3.8, show(value, places), SMALL, align="C")


def _draw_dots(pen: Pen, series: Series, frame: _Frame, limits: Sequence[Limit]) -> None:
    """A dot for each ball with a line as long as its U, the smallest value lowest."""
    ordered = sorted(series.values.items(), key=lambda item: (item[1][0], item[0]))
    step = min(5.0, (frame.base - frame.top - 3) / len(ordered))
    for number, (_, (value, expanded)) in enumerate(ordered):
        y = frame.base - 2 - step * (number + 0.5)
        tone = ACCENT if any(limit.excludes(float(value)) for limit in limits) else INK
        if expanded:
            ends = [(frame.at(float(value - expanded)), y), (frame.at(float(value + expanded)), y)]
            pen.line(ends, tone=tone, width=0.2)
        pen.disc(frame.at(float(value)), y, 0.75, fill=tone, edge=tone)


def _draw_bars(pen: Pen, series: Series, frame: _Frame, limits: Sequence[Limit]) -> None:
    counts: dict[int, int] = {}
    for value, _ in series.values.values():
        scaled = round(value * SCALE)
        counts[scaled] = counts.get(scaled, 0) + 1
    histogram = bin_readings(counts)
    tallest = max(histogram.counts)
    start, width = float(histogram.start), float(histogram.width)
    for number, count in enumerate(histogram.counts):
        if not count:
            continue
        near, far = start + number * width, start + (number + 1) * width
        x, tall = frame.at(near), (frame.base - frame.top - 2) * count / tallest
        corner, size = (x, frame.base - tall), (max(frame.at(far) - x, 0.5), tall)
        outside = any(limit.excludes((near + far) / 2) for limit in limits)
        pen.box(corner, size, fill=None if outside else BAR, edge=ACCENT if outside else SOFT, width=0.2)
        if outside:
            pen.hatched(corner, size)
        if number == histogram.counts.index(tallest):
            pen.write(x + size[0] / 2, frame.base - tall - 0.8, f"{count}", SMALL_INK, align="C")


def _draw_band(pen: Pen, limit: Limit, frame: _Frame) -> None:
    """The guard band inside each end of a limit."""
    if not limit.band:
        return
    band = float(limit.band)
    for end, inwards in ((limit.requirement.low, 1), (limit.requirement.high, -1)):
        if end is None:
            continue
        near, far = sorted((float(end), float(end) + inwards * band))
        x, right = frame.at(max(near, frame.low)), frame.at(min(far, frame.high))
        pen.hatched((x, frame.top), (max(right - x, 0.2), frame.base - frame.top), tone=EDGE)
        pen.line([(x, frame.top), (x, frame.base)], tone=LINE, width=0.15)
