"""Control charts: the form, the charts of each group with their signals in words, and the points as a table."""

from __future__ import annotations

from itertools import groupby
from typing import Any, NamedTuple

import msgspec
from litestar import Controller, Request, Response, get

from api.pages.catalogue import N_
from api.pages.limits.answering import Sheet, address_of, answering, asking, read_typed, typed_in
from api.pages.limits.csv_table import csv_answer, numbers_of
from api.pages.limits.tabs import CHARTS, of_limits
from api.parts import parts_of
from api.request_body import read_query
from api.routes.figures import ChartsWanted, figures_asked
from ledger.application.process_charts import ChartFigures, GroupCharts, SignalSeen, charts_of
from ledger.conformity.charts import Chart, Point
from ledger.conformity.run_rules import WORDS
from ledger.line.quantity import UNITS

SHEET = Sheet(CHARTS, "charts.html", f"{CHARTS}/answer", "charts-answer.html")

POINTS_SHOWN = 50
SIGNALS_SHOWN = 10
SIGNALS_LISTED = 100
"""Points that signal, of each chart: those shown at once, and those listed at most; the file has all."""

_SAID = {
    (1, "above"): N_("above the upper control limit (beyond 3 sigma)"),
    (1, "below"): N_("below the lower control limit (beyond 3 sigma)"),
    (2, "above"): N_("2 of the last 3 points beyond 2 sigma above"),
    (2, "below"): N_("2 of the last 3 points beyond 2 sigma below"),
    (3, "above"): N_("4 of the last 5 points beyond 1 sigma above"),
    (3, "below"): N_("4 of the last 5 points beyond 1 sigma below"),
    (4, "above"): N_("8 points in a row above the centre line"),
    (4, "below"): N_("8 points in a row below the centre line"),
}
SIGNAL_WORDS = {WORDS[rule].format(side=side): message for (rule, side), message in _SAID.items()}
"""What a signal is called here, by its words."""


class Charts(Controller):
    """Whether the process is stable."""

    path = CHARTS

    @get(opt=of_limits("Control charts"))
    async def form(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The form; the charts are drawn at the answer's own address."""
        return await asking(request, SHEET, asked="quantity" in typed_in(request))

    @get("/answer", opt=of_limits("Control charts: the answer"))
    async def answer(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Each group's signals; of a group alone its charts and points too."""
        return await answering(request, SHEET, _answer)

    @get(
        "/points.csv",
        opt=numbers_of("The points of control charts, a line each, with their own limits and signals", ChartsWanted),
    )
    async def points(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The numbers of the charts as a file."""
        found = await _charts(request, read_query(request, ChartsWanted))
        return _points_file(found)


class PointRow(NamedTuple):
    """A point of a chart: its number from the first of all where it is known, the centre line there, and its signals."""

    number: int | None
    point: Point
    centre: float
    signals: tuple[SignalSeen, ...]


class PointSignals(NamedTuple):
    """The signals that a chart gives at one point."""

    number: int
    label: str
    signals: tuple[SignalSeen, ...]


class ChartView(NamedTuple):
    """A chart with the newest of its points and the points that signal, the newest first; ``given``: how many signals."""

    chart: Chart
    rows: list[PointRow]
    signals: list[PointSignals]
    given: int


async def _charts(request: Request[Any, Any, Any], wanted: ChartsWanted) -> ChartFigures:
    raw = await parts_of(request).long_answer(charts_of, figures_asked(wanted))
    return msgspec.json.decode(raw, type=ChartFigures)


async def _answer(request: Request[Any, Any, Any], typed: dict[str, str]) -> dict[str, Any]:
    wanted = read_typed(typed, ChartsWanted)
    found = await _charts(request, wanted)
    drawn = [one for one in found.groups if not one.left_out]
    only = drawn[0] if len(drawn) == 1 else None
    return {
        "figures": found,
        "wanted": wanted,
        "unit": UNITS[found.unit].printed,
        "only": only,
        "views": [] if only is None else chart_views(only),
        "groups": [
            (one, address_of(CHARTS, typed, group=one.group), address_of(SHEET.answer, typed, group=one.group))
            for one in found.groups
        ],
        "all_groups": address_of(CHARTS, typed, group=None) if "group" in typed else "",
        "picture": "" if only is None else address_of("/charts.svg", typed, group=only.group),
        "points_csv": address_of(f"{CHARTS}/points.csv", typed),
        "signal_words": SIGNAL_WORDS,
        "at_ms": parts_of(request).book.clock_ms(),
        "places": _places(only),
        "first_shown": SIGNALS_SHOWN,
    }


def _places(only: GroupCharts | None) -> int:
    """Decimals by which the points of a group are told apart: four digits of the spread of a reading."""
    if only is None or not only.charts or not only.charts[0].sigma:
        return 4
    whole, _, decimals = f"{only.charts[0].sigma:.8f}".partition(".")
    leading = 0 if whole.strip("0") else len(decimals) - len(decimals.lstrip("0"))
    return min(6, leading + 2)


def chart_views(one: GroupCharts) -> list[ChartView]:
    """The charts of a group for its page."""
    views = []
    for chart in one.charts:
        signals = [signal for signal in one.signals if signal.chart == chart.id]
        rows = point_rows(chart, one)[-POINTS_SHOWN:]
        points = [
            PointSignals(number, label, tuple(found))
            for (number, label), found in groupby(signals, key=lambda signal: (signal.point, signal.label))
        ]
        views.append(ChartView(chart, rows[::-1], points[::-1][:SIGNALS_LISTED], len(signals)))
    return views


def point_rows(chart: Chart, one: GroupCharts) -> list[PointRow]:
    """The points of a chart that are handed out, in their order."""
    earlier = _earlier(chart, one)
    numbers = [None if earlier is None else earlier + index + 1 for index in range(len(chart.points))]
    signals: dict[int | str | None, list[SignalSeen]] = {}
    # Subgroups have a label each; of single readings, one ball may have several.
    by_label = chart.id in ("xbar", "s")
    for signal in one.signals:
        if signal.chart == chart.id:
            signals.setdefault(signal.label if by_label else signal.point, []).append(signal)
    return [
        PointRow(number, point, chart.centre_at(index), tuple(signals.get(point.label if by_label else number, ())))
        for index, (number, point) in enumerate(zip(numbers, chart.points, strict=True))
    ]


def _earlier(chart: Chart, one: GroupCharts) -> int | None:
    """How many points of this chart are not handed out; None where subgroups of one reading make it unknown."""
    if not one.earlier or chart.id in ("individuals", "xbar"):
        return one.earlier
    return one.earlier - 1 if chart.id == "moving_range" else None


def _points_file(found: ChartFigures) -> Response[bytes]:
    unit = UNITS[found.unit].printed
    earlier = sum(one.earlier for one in found.groups)
    notes = [f"{found.quantity}, {unit}; control limits come from the readings and are no limits of a body"]
    notes += [f"{earlier} earlier points are left out"] if earlier else []
    head = ["group", "chart", "point", "label", "value", "lower", "centre", "upper", "readings", "signals"]
    lines = [
        [
            *(one.group, chart.name, row.number or "", row.point.label, *map(_shown, _values(row)), row.point.count),
            "; ".join(f"{signal.words} (rule {signal.rule})" for signal in row.signals),
        ]
        for one in found.groups
        for chart in one.charts
        for row in point_rows(chart, one)
    ]
    return csv_answer("points.csv", notes, head, lines)


def _values(row: PointRow) -> tuple[float, float, float, float]:
    return row.point.value, row.point.lower, row.centre, row.point.upper


def _shown(value: float) -> str:
    return f"{value:.10g}"
