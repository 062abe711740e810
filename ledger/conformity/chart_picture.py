"""Control charts as one picture: panels under one another over one axis of points.

Nothing is told by colour alone: a signal is a larger hollow diamond with the number of its rule, limits are dashed and
named, the centre line is whole and named.  Every point carries its label and value as a tooltip.
Of a chart longer than ``NEWEST`` the newest points are drawn, and the words count the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ledger.conformity.charts import Chart, Point, signal_lines
from ledger.conformity.svg_text import (
    BAND,
    FAINT,
    MARK,
    SOFT,
    TITLE,
    bar,
    diamond,
    dot,
    label,
    line,
    picture,
    shorten,
    show,
    spaced,
    text,
    ticks,
)
from ledger.errors import MalformedQuantity

NEWEST = 300
WIDTH = 760

_LEFT, _RIGHT, _TOP, _TALL, _GAP, _FOOT = 70, 132, 84, 180, 46, 96
_MOST_SAID = 20

_RULES = "1: beyond 3 sigma; 2: two of the last three beyond 2; 3: four of the last five beyond 1; 4: eight in a row on one side"


@dataclass(frozen=True, slots=True)
class _Panel:
    """One chart's place: where its points and values go."""

    chart: Chart
    first: int
    """Index of the first point drawn."""
    shift: int
    """Points of the longest chart before this one's first: a moving range starts one later."""
    across: float
    """Distance of two points."""
    top: float
    low: float
    high: float

    def x(self, index: int) -> float:
        return _LEFT + self.across * (index + self.shift + 0.5)

    def y(self, value: float) -> float:
        return self.top + _TALL * (self.high - value) / (self.high - self.low)


def draw_charts(charts: Sequence[Chart], title: str, unit: str) -> str:
    """The picture, as SVG text; ``title`` names quantity, model and period, ``unit`` is as printed.

    Raises MalformedQuantity when there is no chart, or one without points.
    """
    if not charts or any(not chart.points for chart in charts):
        raise MalformedQuantity("picture needs points", expected="at least one chart with points", where="charts")
    longest = max(len(chart.points) for chart in charts)
    panels = [_place(chart, row, longest) for row, chart in enumerate(charts)]
    foot = _TOP + len(charts) * (_TALL + _GAP) - _GAP
    parts = [text(20, 30, shorten(title, TITLE), size=17, bold=True), text(20, 50, _count_words(longest), fill=SOFT)]
    for panel in panels:
        parts += _draw(panel, unit)
    parts += _point_axis(charts, longest, foot)
    parts += _legend(foot + 62)
    return picture(parts, WIDTH, foot + _FOOT, title, " ".join(_described(chart, unit) for chart in charts))


def _place(chart: Chart, row: int, longest: int) -> _Panel:
    cut = max(0, longest - NEWEST)
    late = longest - len(chart.points)
    drawn = chart.points[max(0, cut - late) :]
    values = [value for point in drawn for value in (point.value, point.lower, point.upper)]
    low, high = min(values), max(values)
    room = 0.12 * (high - low) or 0.5 * (abs(high) or 1)
    return _Panel(
        chart=chart,
        first=max(0, cut - late),
        shift=late - cut,
        across=(WIDTH - _LEFT - _RIGHT) / (longest - cut),
        top=_TOP + row * (_TALL + _GAP),
        low=0.0 if low == 0 else low - room,
        high=high + room,
    )


def _count_words(longest: int) -> str:
    return f"{longest} points" if longest <= NEWEST else f"the newest {NEWEST} of {longest} points"


def _draw(panel: _Panel, unit: str) -> list[str]:
    chart, right = panel.chart, WIDTH - _RIGHT
    marks, places = ticks(panel.low, panel.high, 5)
    parts = [text(_LEFT, panel.top - 8, f"{chart.name}, {unit}", size=13, bold=True)]
    parts += [
        bar(_LEFT, panel.top, width=right - _LEFT, height=_TALL, fill=BAND),
        *(line([(_LEFT, panel.y(mark)), (right, panel.y(mark))], stroke=FAINT) for mark in marks),
        *(text(_LEFT - 8, panel.y(mark) + 4, show(mark, places), anchor="end", fill=SOFT) for mark in marks),
        line(_steps(panel, [point.upper for point in chart.points]), dash="7 4", width=1.3),
        line(_steps(panel, [point.lower for point in chart.points]), dash="7 4", width=1.3),
        line(_steps(panel, [chart.centre_at(index) for index in range(len(chart.points))]), width=1.3),
    ]
    parts += _limit_names(panel, places + 2)
    parts += _points(panel, places + 3)
    return parts


def _steps(panel: _Panel, values: Sequence[float]) -> list[tuple[float, float]]:
    """A line that is level at each point and steps half-way between two."""
    corners: list[tuple[float, float]] = []
    for index in range(panel.first, len(values)):
        y, half = panel.y(values[index]), panel.across / 2
        if corners and corners[-1][1] == y:
            corners.pop()
        else:
            corners.append((panel.x(index) - half, y))
        corners.append((panel.x(index) + half, y))
    return corners


def _limit_names(panel: _Panel, places: int) -> list[str]:
    chart, last = panel.chart, panel.chart.points[-1]
    centre = chart.centre_at(len(chart.points) - 1)
    moving = len({(point.lower, point.upper) for point in chart.points}) > 1
    named = [("upper", last.upper), ("centre", centre), ("lower", last.lower)]
    heights = spaced([panel.y(value) + 4 for _, value in named], 15)
    x = WIDTH - _RIGHT + 8
    parts = [text(x, y, f"{name} {show(value, places)}") for (name, value), y in zip(named, heights, strict=True)]
    if moving:
        parts.append(text(x, max(heights) + 15, "at the last point", size=10.5, fill=SOFT))
    return parts


def _points(panel: _Panel, places: int) -> list[str]:
    chart = panel.chart
    rules: dict[int, list[int]] = {}
    sides: dict[int, str] = {}
    for signal in chart.signals:
        rules.setdefault(signal.index, []).append(signal.rule)
        sides[signal.index] = signal.side
    radius = min(3.0, max(1.0, 0.4 * panel.across))
    large = min(6.0, max(4.0, 0.8 * panel.across))
    shown = range(panel.first, len(chart.points))
    parts = [line([(panel.x(one), panel.y(chart.points[one].value)) for one in shown], stroke=SOFT)]
    said = {one: _said(chart.points[one], places, rules.get(one, [])) for one in shown}
    places_of = {one: (panel.x(one), panel.y(chart.points[one].value)) for one in shown}
    parts += [dot(*places_of[one], radius, said[one]) for one in shown if one not in rules]
    parts += [diamond(*places_of[one], large, said[one]) for one in shown if one in rules]
    return parts + _rule_numbers(places_of, rules, sides)


def _rule_numbers(
    places: dict[int, tuple[float, float]], rules: dict[int, list[int]], sides: dict[int, str]
) -> list[str]:
    """Numbers beside the diamonds, the lowest rules first, left out where a neighbour's would cover them."""
    parts: list[str] = []
    taken: list[tuple[float, float, float]] = []
    for one in sorted(set(places) & set(rules), key=lambda index: (min(rules[index]), index)):
        x, y = places[one]
        numbers = ",".join(map(str, rules[one]))
        y, half = (y - 9 if sides[one] == "above" else y + 18), 4.2 * len(numbers)
        if all(abs(x - other) >= half + wide or abs(y - base) >= 11 for other, base, wide in taken):
            taken.append((x, y, half))
            parts.append(label(x, y, numbers, fill=MARK))
    return parts


def _said(point: Point, places: int, rules: Sequence[int]) -> str:
    words = f"{point.label}: {show(point.value, places)}"
    if point.count > 2:
        words += f" ({point.count} readings)"
    return f"{words}, signal by rule {', '.join(map(str, rules))}" if rules else words


def _point_axis(charts: Sequence[Chart], longest: int, foot: float) -> list[str]:
    cut = max(0, longest - NEWEST)
    across = (WIDTH - _LEFT - _RIGHT) / (longest - cut)
    marks, _ = ticks(cut + 1, longest, 8)
    numbers = sorted({int(mark) for mark in marks if mark == int(mark)} | ({1} if not cut else set()))
    parts = [
        text(_LEFT + across * (number - cut - 0.5), foot + 18, str(number), anchor="middle", fill=SOFT)
        for number in numbers
        if number in {1, longest} or across * (number - 1) > 22
    ]
    points = next(chart.points for chart in charts if len(chart.points) == longest)
    first, last = (shorten(points[index].label, 34) for index in (cut, longest - 1))
    parts.append(text(_LEFT, foot + 36, f"from {first}", fill=SOFT))
    parts.append(text(WIDTH - _RIGHT, foot + 36, f"to {last}", anchor="end", fill=SOFT))
    return parts


def _legend(y: float) -> list[str]:
    return [
        dot(_LEFT + 4, y - 4, 3, "a point"),
        text(_LEFT + 14, y, "point"),
        diamond(_LEFT + 72, y - 4, 6, "a signal"),
        text(_LEFT + 86, y, "signal, with the number of its rule"),
        text(_LEFT, y + 18, _RULES, size=11, fill=SOFT),
    ]


def _described(chart: Chart, unit: str) -> str:
    points = chart.points
    _, places = ticks(min(point.lower for point in points), max(point.upper for point in points), 4)
    words = f"{chart.name} in {unit}: {len(points)} points, centre line {show(chart.centre, places + 2)}"
    last = points[-1]
    words += f", limits {show(last.lower, places + 2)} to {show(last.upper, places + 2)}"
    words += " at the last point" if len({(point.lower, point.upper) for point in points}) > 1 else ""
    said = signal_lines(chart)
    if not said:
        return f"{words}. No signal."
    more = f"; and {len(said) - _MOST_SAID} more" if len(said) > _MOST_SAID else ""
    return f"{words}. {len(said)} signals: {'; '.join(said[:_MOST_SAID])}{more}."
