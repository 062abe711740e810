"""Control charts of the process, of the readings that stand and may be used, in order of their instant.

A chart of individuals has a point a ball, named by its number; one of subgroups a point for each shell lot, or for each
UTC day of reading.  Limits of a rulebook are told beside and never drawn: they say nothing of a process being stable.
"""

from __future__ import annotations

from typing import NamedTuple

import msgspec

from ledger.application.process_figures import (
    FiguresAsked,
    Gathered,
    Subgroups,
    check_some,
    classes_of,
    only_group,
    printed_unit,
    title_of,
)
from ledger.application.process_limits import LimitsSeen
from ledger.conformity.chart_picture import draw_charts
from ledger.conformity.charts import Chart, individuals_charts, subgroup_charts
from ledger.conformity.from_rows import day_of
from ledger.conformity.moments import Moments
from ledger.errors import TooLarge
from ledger.line.fact import parse_address
from ledger.line.quantity import UNITS
from ledger.store.reader import Reader

MOST_INDIVIDUALS = 100_000
"""Readings of one chart of individuals at most."""

POINTS = 2_000
"""Points of a chart that are handed out: the newest."""


class SignalSeen(msgspec.Struct, frozen=True):
    """A signal: on which chart, at which point (from 1), whose label it is, by which rule, in words."""

    chart: str
    point: int
    label: str
    rule: int
    words: str


class GroupCharts(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One group's two charts, with at most 2,000 of their newest points, or why it has none (``left_out``).

    ``earlier``: points of each that are not handed out.  Signals count from the first point of all.
    """

    group: str
    readings: int
    charts: tuple[Chart, ...] = ()
    signals: tuple[SignalSeen, ...] = ()
    earlier: int = 0
    limits: LimitsSeen | None = None
    left_out: str = ""


class ChartFigures(msgspec.Struct, frozen=True, kw_only=True):
    """The charts of each group, by name; ``unusable``, ``statistics`` and ``weight_classes`` as in `CapabilityFigures`."""

    quantity: str
    unit: str
    by: str
    subgroups: str
    unusable: int
    statistics: dict[str, int]
    weight_classes: dict[str, int]
    groups: tuple[GroupCharts, ...]


def charts_of(reader: Reader, asked: FiguresAsked) -> ChartFigures:
    """The charts of each group. Raises NotFound where no group has 2 points, MalformedInput, TooLarge."""
    gathered, whole = _charts(reader, asked)
    return ChartFigures(
        quantity=asked.quantity,
        unit=gathered.readings.unit,
        by=asked.by,
        subgroups=asked.subgroups,
        unusable=gathered.readings.left_out,
        statistics=dict(sorted(gathered.readings.statistics.items())),
        weight_classes=classes_of(gathered.readings),
        groups=tuple(_handed_out(one) for one in whole),
    )


def _charts(reader: Reader, asked: FiguresAsked) -> tuple[Gathered, list[GroupCharts]]:
    gathered = Gathered(reader, asked)
    series = _individuals(gathered) if asked.subgroups == "none" else _subgroups(gathered, asked.subgroups)
    whole = [_group_charts(group, made, gathered) for group, made in sorted(series.items())]
    check_some([one.left_out for one in whole], asked, gathered.readings)
    return gathered, whole


class _Series(NamedTuple):
    """What a group's charts are made of: labelled readings, or labelled subgroups, in order of time."""

    readings: list[tuple[str, int]]
    subgroups: list[tuple[str, Moments]]


def _individuals(gathered: Gathered) -> dict[str, _Series]:
    taken: dict[str, list[tuple[int, tuple[int, int], str, int]]] = {}
    count = 0
    for chunk in gathered.chunks():
        count += len(chunk)
        if count > MOST_INDIVIDUALS:
            raise TooLarge(
                "too many readings for a chart of individuals",
                expected=f"at most {MOST_INDIVIDUALS}",
                where="subgroups",
                mend="choose fewer days, or subgroups by lot or by day",
            )
        for one in chunk:
            taken.setdefault(one.group, []).append((one.at_ms, parse_address(one.fact), one.label, one.value))
    return {
        group: _Series([(label, value) for _, _, label, value in sorted(found)], []) for group, found in taken.items()
    }


def _subgroups(gathered: Gathered, subgroups: Subgroups) -> dict[str, _Series]:
    found: dict[str, dict[str, tuple[int, Moments]]] = {}
    for chunk in gathered.chunks():
        for one in chunk:
            label = one.row.lot if subgroups == "lot" else day_of(one.at_ms).isoformat()
            first, moments = found.setdefault(one.group, {}).get(label, (one.at_ms, Moments()))
            more = moments + Moments(1, one.value, one.value**2)
            found[one.group][label] = (min(first, one.at_ms), more)
    return {
        group: _Series([], [(label, made[1]) for label, made in sorted(labels.items(), key=lambda item: item[1][0])])
        for group, labels in found.items()
    }


def _group_charts(group: str, series: _Series, gathered: Gathered) -> GroupCharts:
    readings, subgroups = series
    count = len(readings) + sum(moments.count for _, moments in subgroups)
    limits = gathered.limits(group)
    why = ""
    if len(readings) + len(subgroups) < 2:
        why = "a chart needs 2 points or more"
    elif subgroups and all(moments.count < 2 for _, moments in subgroups):
        why = "no subgroup has 2 readings or more"
    if why:
        return GroupCharts(group=group, readings=count, limits=limits, left_out=why)
    charts = subgroup_charts(subgroups) if subgroups else individuals_charts(readings)
    signals = tuple(
        SignalSeen(chart.id, signal.index + 1, chart.points[signal.index].label, signal.rule, signal.words)
        for chart in charts
        for signal in chart.signals
    )
    return GroupCharts(group=group, readings=count, charts=charts, signals=signals, limits=limits)


def _handed_out(whole: GroupCharts) -> GroupCharts:
    earlier = max((len(chart.points) for chart in whole.charts), default=0) - POINTS
    if earlier <= 0:
        return whole
    charts = tuple(
        msgspec.structs.replace(chart, points=chart.points[-POINTS:], centres=chart.centres[-POINTS:], signals=())
        for chart in whole.charts
    )
    return msgspec.structs.replace(whole, charts=charts, earlier=earlier)


def draw_chart(reader: Reader, asked: FiguresAsked) -> str:
    """The charts as one picture, SVG text: of one group. Raises as `charts_of`, and MalformedInput for several."""
    gathered, whole = _charts(reader, asked)
    group = only_group([one.group for one in whole if not one.left_out])
    [charts] = [one.charts for one in whole if one.group == group]
    return draw_charts(charts, title_of(asked, group), printed_unit(gathered))


def chart_lines(figures: ChartFigures, one: GroupCharts) -> list[str]:
    """A group's charts in lines: centre, limits at the last point, and each signal by its ball or lot."""
    if one.left_out:
        return [f"{one.group}: {one.readings} readings; no chart: {one.left_out}"]
    unit = UNITS[figures.unit].printed
    lines = [f"{one.group}: {one.readings} readings"]
    for chart in one.charts:
        last = chart.points[-1]
        lines.append(
            f"  {chart.name}: centre {chart.centre:.4f}, limits {last.lower:.4f} to {last.upper:.4f} {unit}"
            f", {one.earlier + len(chart.points)} points"
        )
        lines += [
            f"    point {signal.point}, {signal.label}: {signal.words} (rule {signal.rule})"
            for signal in one.signals
            if signal.chart == chart.id
        ]
        lines += [f"    {caution}" for caution in chart.cautions]
    return lines
