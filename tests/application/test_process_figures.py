"""Capability and control charts of what the book holds: which readings count, told apart by what, against which limits."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from ledger.application.process_capability import CapabilityFigures, capability_of, draw_capability
from ledger.application.process_charts import ChartFigures, chart_lines, charts_of, draw_chart
from ledger.application.process_figures import FiguresAsked
from ledger.application.process_readings import ProcessReadings
from ledger.conformity.moments import gather
from ledger.errors import LedgerError, MalformedInput, MalformedQuantity, NotFound
from ledger.store.reader import open_reader
from ledger.store.selections import Selection
from tests.application.floor import Floor, at, calibrated, cores, engraved, inspected, shells
from tests.conformity.pictures import read_back, words_of

SHORE = (74, 75.5, 74.5, 76, 73.5, 75, 74, 75.5, 74.5, 75, 74.5, 84)
"""Hardness of the balls of SL-1, in order of reading; the last leaps."""

OTHERS = (76, 77, 76.5, 78, 76, 77)
"""Hardness of the balls of SL-2."""


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Floor]:
    """Two shell lots out of two mould sets, read at two stations; the balls are entered backwards."""
    folder: Path = tmp_path_factory.mktemp("plant")
    floor = Floor(folder)
    floor.stock(40)
    floor.say(cores("CL-1", 30, ("BL-1", 20)), cores("CL-2", 30, ("BL-1", 20)))
    floor.say(shells("SL-1", 40, ("CL-1", 20)), shells("SL-2", 40, ("CL-2", 20), mould_set="MS-2"))
    for number, value in reversed(list(enumerate(SHORE))):
        read(floor, f"A-{number:02d}", 70 + number, value)
    for number, value in enumerate(OTHERS):
        read(floor, f"B-{number:02d}", 100 + number, value, lot="SL-2", station="I-2" if number % 2 else "I-1")
    yield floor
    floor.book.close()


def read(floor: Floor, unit: str, hours: float, shore: float, lot: str = "SL-1", station: str = "I-1") -> None:
    """A ball engraved, and its hardness and mass read."""
    reading = {**inspected(unit, hours + 0.5, hardness=str(shore), mass="15.1"), "station": station}
    floor.say(engraved(unit, f"P{unit}", hours, lot=lot), reading)


def capability(floor: Floor, quantity: str = "hardness", **asked: Any) -> CapabilityFigures:
    """The capability, by default against usbc-2026."""
    said = {"rulebook": "usbc-2026", "selection": Selection(), **asked}
    with open_reader(floor.book.store) as reader:
        return capability_of(reader, FiguresAsked(quantity, **said))


def charts(floor: Floor, quantity: str = "hardness", **asked: Any) -> ChartFigures:
    """The charts."""
    with open_reader(floor.book.store) as reader:
        return charts_of(reader, FiguresAsked(quantity, **{"selection": Selection(), **asked}))


def scaled(values: tuple[float, ...]) -> list[int]:
    """Readings in whole millionths."""
    return [round(value * 1_000_000) for value in values]


def test_individuals_stand_in_order_of_their_reading(plant: Floor) -> None:
    """Whatever the order of entry; each point bears the ball's number, and the leap is named by it."""
    [one] = charts(plant, selection=Selection(lot="SL-1")).groups
    individuals, moving = one.charts
    assert [f"PA-{number:02d}" for number in range(12)] == [point.label for point in individuals.points]
    assert list(SHORE) == [point.value for point in individuals.points]
    assert individuals.centre == pytest.approx(float(gather(scaled(SHORE)).mean), abs=1e-12)
    assert {("individuals", 12, "PA-11", 1), ("moving_range", 11, "PA-11", 1)} == {
        (said.chart, said.point, said.label, said.rule) for said in one.signals
    }
    assert 11 == len(moving.points)


def test_readings_are_told_apart(plant: Floor) -> None:
    """By the mould set of the pour, the station of the inspection, the lot, or not at all."""
    counts = {
        by: {one.group: one.readings for one in charts(plant, by=by).groups}
        for by in ("mould", "station", "lot", "none")
    }
    assert {"MS-1": 12, "MS-2": 6} == counts["mould"]
    assert {"I-1": 15, "I-2": 3} == counts["station"]
    assert {"SL-1": 12, "SL-2": 6} == counts["lot"]
    assert {"all": 18} == counts["none"]
    assert ["MS-2"] == [one.group for one in charts(plant, by="mould", group="MS-2").groups]


def test_subgroups_are_lots_or_days(plant: Floor) -> None:
    """Means and standard deviations of each lot, or of each UTC day of reading, in order of time."""
    [by_lot] = charts(plant, subgroups="lot").groups
    assert [("SL-1", 12), ("SL-2", 6)] == [(point.label, point.count) for point in by_lot.charts[0].points]
    expected = [float(gather(scaled(values)).mean) for values in (SHORE, OTHERS)]
    assert expected == [point.value for point in by_lot.charts[0].points]
    assert ["xbar", "s"] == [chart.id for chart in by_lot.charts]
    [by_day] = charts(plant, subgroups="day").groups
    assert ["2026-09-24", "2026-09-25"] == [point.label for point in by_day.charts[0].points][:2]
    assert 18 == sum(point.count for point in by_day.charts[0].points)


def test_capability_is_against_the_limit_in_force(plant: Floor) -> None:
    """The body's hardness limit of the year, in its unit, with where it was read; the index is of that side."""
    found = capability(plant, by="mould")
    assert ("shore_d", ["MS-1", "MS-2"]) == (found.unit, [one.group for one in found.groups])
    for one, values in zip(found.groups, (SHORE, OTHERS), strict=True):
        assert one.limits is not None
        assert one.capability is not None
        assert ("73", None, "usbc-2026") == (one.limits.low, one.limits.high, one.limits.rulebook)
        moments = gather(scaled(values))
        cpl = (float(moments.mean) - 73) / (3 * moments.s)
        assert one.capability.indices is not None
        assert cpl == pytest.approx(one.capability.indices.cpk, rel=1e-12)
        assert any("limit read:" in line for line in one.says)
    assert ({"single": 18}, {"15": 18}) == (found.statistics, found.weight_classes)


def test_the_edition_and_the_day_of_making_choose_the_limit(plant: Floor) -> None:
    """72 by the edition of 2019; none by one whose limit ended before the balls were made; a book that is not here."""
    [one] = capability(plant, rulebook="usbc-2019").groups
    assert one.limits is not None
    assert (("usbc.hardness-earlier",), "72") == (one.limits.requirements, one.limits.low)
    with pytest.raises(NotFound) as refused:
        capability(plant, rulebook="japan")
    assert "no limit of japan on one ball is in force" in str(refused.value)
    with pytest.raises(NotFound):
        capability(plant, rulebook="no-such-book")


def test_readings_under_other_limits_are_counted(tmp_path: Path) -> None:
    """A limit from 13 lb on: the newest ball has it, one of 12 lb has not; a class alone has one process."""
    floor = Floor(tmp_path)
    floor.line()
    for number, pounds in enumerate((12, 15, 15)):
        ball = engraved(f"U-{number}", f"P{number}", 70 + number, weight_class=pounds)
        floor.say(ball, inspected(f"U-{number}", 71 + number, rg_low=f"2.4{7 + number}"))
    [one] = capability(floor, "rg_low").groups
    assert one.limits is not None
    assert (("usbc.rg-minimum",), 1, 3) == (one.limits.requirements, one.limits.under_others, one.readings)
    assert "1 of the readings fall under other limits" == one.says[-1]
    found = capability(floor, "rg_low", weight_class=15)
    assert ({"15": 2}, 2) == (found.weight_classes, found.groups[0].readings)
    floor.book.close()


def test_a_reading_that_may_not_be_used_is_left_out_and_counted(tmp_path: Path) -> None:
    """Of a gauge found wrong at its next calibration; the rest still makes a chart."""
    floor = Floor(tmp_path)
    floor.line()
    for number in range(4):
        read(floor, f"U-{number}", 70 + number, 74 + number)
    floor.say(calibrated("hardness", 72))
    floor.say(calibrated("hardness", 90, as_found_good=False))
    found = charts(floor)
    assert (2, 2) == (found.unusable, found.groups[0].readings)
    with pytest.raises(NotFound) as refused:
        charts(floor, selection=Selection(unit="U-3"))
    assert ("0 usable, and 1 that may not be used", True) == (refused.value.got, bool(refused.value.mend))
    floor.book.close()


def test_a_changed_mould_set_is_taken_from_its_count_on(tmp_path: Path) -> None:
    """Where a ball's place is known; otherwise, and after a merger, it is one or another."""
    floor = Floor(tmp_path)
    floor.line()
    change = {"kind": "lot-changed", "at": at(41), "lot": "SL-1", "count": 12, "what": "mould-set", "to": "MS-7"}
    floor.say(change)
    for number, place in enumerate((12, 13, None)):
        where = {} if place is None else {"place": place}
        floor.say(engraved(f"U-{number}", f"P{number}", 70, **where), inspected(f"U-{number}", hardness="75"))
    floor.say({"kind": "lot-split", "at": at(42), "lot": "SL-1", "into": "SL-1A", "count": 5})
    floor.say({**change, "at": at(43), "lot": "SL-1A", "count": 2, "to": "MS-8"})
    floor.say({"kind": "lot-split", "at": at(44), "lot": "SL-1A", "into": "SL-1B", "count": 2})
    heirs: dict[str, dict[str, Any]] = {"U-7": {"place": 1}, "U-8": {"place": 3}, "U-9": {}, "U-9B": {"lot": "SL-1B"}}
    for unit, fields in heirs.items():
        floor.say(engraved(unit, f"P{unit}", 70, **{"lot": "SL-1A", **fields}), inspected(unit, hardness="75"))
    with open_reader(floor.book.store) as reader:
        groups = [
            one.group
            for chunk in ProcessReadings(reader, Selection(), "hardness", by="mould").chunks()
            for one in chunk
        ]
    either, any_of_all = "MS-1 or MS-7", "MS-1 or MS-7 or MS-8"
    assert ["MS-1", "MS-7", either, either, "MS-8", any_of_all, any_of_all] == groups
    floor.book.close()


def test_one_unit_for_all(plant: Floor) -> None:
    """The rulebook's, or that of the first reading; a reading in another is converted exactly."""
    with open_reader(plant.book.store) as reader:
        readings = ProcessReadings(reader, Selection(unit="A-00"), "mass", unit="kg")
        [[one]] = readings.chunks()
        assert round(Fraction("15.1") * Fraction("0.45359237") * 10**6) == one.value
        other = ProcessReadings(reader, Selection(unit="A-00"), "mass")
        assert [15_100_000] == [one.value for chunk in other.chunks() for one in chunk]
        assert ("kg", "lb") == (readings.unit, other.unit)


REFUSED: list[tuple[dict[str, Any], type[LedgerError], str]] = [
    ({"quantity": "loudness"}, MalformedQuantity, "quantity"),
    ({"selection": Selection(lot="NONE")}, NotFound, "quantity"),
    ({"selection": Selection(unit="A-00")}, NotFound, "quantity"),
    ({"by": "mould", "group": "MS-9"}, NotFound, "group"),
    ({"weight_class": 12}, NotFound, "quantity"),
    ({"subgroups": "lot", "selection": Selection(lot="SL-1")}, NotFound, "quantity"),
]


@pytest.mark.parametrize(("asked", "error", "where"), REFUSED)
def test_too_few_values_are_told_with_the_mend(
    plant: Floor, asked: dict[str, Any], error: type[LedgerError], where: str
) -> None:
    """No reading, one alone, or one subgroup: what there is, and what to choose instead."""
    with pytest.raises(error) as refused:
        charts(plant, **asked)
    assert where == refused.value.where
    assert bool(refused.value.mend) or error is MalformedQuantity


def test_a_group_of_one_is_left_out_beside_others(tmp_path: Path) -> None:
    """It says why, and the others have their figures."""
    floor = Floor(tmp_path)
    floor.line()
    for number in range(3):
        read(floor, f"U-{number}", 70 + number, 74 + number, station="I-1" if number else "I-9")
    chart, alone = charts(floor, by="station").groups
    assert ("I-1", "", "I-9", "a chart needs 2 points or more") == (
        chart.group, chart.left_out, alone.group, alone.left_out,
    )  # fmt: skip
    assert ["", "a spread needs 2 readings or more"] == [one.left_out for one in capability(floor, by="station").groups]
    floor.book.close()


def test_capability_without_a_rulebook_is_refused(plant: Floor) -> None:
    """There is nothing to hold it against; a chart needs none."""
    with pytest.raises(MalformedInput) as refused:
        capability(plant, rulebook=None)
    assert "rulebook" == refused.value.where


def test_pictures_show_one_group(plant: Floor) -> None:
    """Both charts with their signal, and the histogram with its limit; several groups are told to be named."""
    with open_reader(plant.book.store) as reader:
        asked = FiguresAsked("hardness", Selection(model="M1"), "mould", "usbc-2026", group="MS-1")
        chart, histogram = (read_back(draw(reader, asked)) for draw in (draw_chart, draw_capability))
        for draw in (draw_chart, draw_capability):
            with pytest.raises(MalformedInput) as refused:
                draw(reader, asked._replace(group=None))
            assert "group" == refused.value.where
    assert "hardness, model M1, mould MS-1" in words_of(chart, "text")
    assert any("PA-11" in words for words in words_of(chart, "title"))
    assert any(words.startswith("lower limit 73") for words in words_of(histogram, "text"))


def test_lines_name_signals_by_ball(plant: Floor) -> None:
    """As the command prints them."""
    figures = charts(plant, by="lot", group="SL-1")
    lines = chart_lines(figures, figures.groups[0])
    assert "SL-1: 12 readings" == lines[0]
    assert "    point 12, PA-11: beyond 3 sigma above (rule 1)" in lines
    assert any("provisional" in line for line in lines)
