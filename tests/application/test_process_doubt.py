"""The doubt of each reading of a process is the one that a verdict on its ball takes."""

from __future__ import annotations

import pytest

from ledger.application.adopted_files import find_rulebook
from ledger.application.judging import grounds_of, judged_rows
from ledger.application.process_doubt import Doubt, Doubts, GroupDoubt
from ledger.application.process_readings import ProcessReadings
from ledger.conformity.from_rows import facts_from_rows
from ledger.store.reader import open_reader
from ledger.store.selections import Selection, select_balls
from tests.application.floor import Floor, calibrated, engraved, inspected, studied


def test_the_same_as_a_verdict_s(ready: Floor) -> None:
    """Before and after a calibration, with a study, with several values, and with a U of its own."""
    ready.say(studied("mass", 2))
    ready.say(calibrated("mass", 60, expanded="0.02"), calibrated("mass", 90, expanded="0.05", k="3"))
    for number in range(4):
        ball = inspected(f"U-{number}", 80 + 5 * number, mass=f"15.1{number}")
        if number == 1:
            ball["readings"][0].update(values=["15.10", "15.12", "15.11"], statistic="mean")
        if number == 2:
            ball["readings"][0]["expanded"] = "0.07"
        ready.say(engraved(f"U-{number}", f"P{number}"), ball)
    with open_reader(ready.book.store) as reader:
        doubts, readings = Doubts(reader, "mass"), ProcessReadings(reader, Selection(), "mass")
        found = {one.row.unit: doubts.of(one, "lb") for chunk in readings.chunks() for one in chunk}
        selected = select_balls(reader.transaction, Selection())
        grounds, rulebook = grounds_of(reader, selected), find_rulebook(reader, "usbc-2026").rulebook
        judged = {
            one.unit.unit: facts_from_rows(judged_rows(one, grounds), rulebook).readings["mass"] for one in selected
        }
    assert 4 == len(found)
    assert {unit: (one.u_from, one.gauge) for unit, one in judged.items()} == {
        unit: (one.said, one.gauge) for unit, one in found.items()
    }
    for unit, one in judged.items():
        assert one.u is not None
        assert float(one.u) == pytest.approx(found[unit].u)
        repeat = None if one.repeat_scaled is None else one.repeat_scaled / 1e6 / one.readings**0.5
        assert repeat == (None if found[unit].scatter is None else pytest.approx(found[unit].scatter))
    assert 3 <= len({one.u for one in found.values()})


def test_in_the_unit_of_the_figure(ready: Floor) -> None:
    """A gauge in pounds, a figure in grams."""
    ready.say(calibrated("mass", 60, expanded="0.02"))
    ready.say(engraved("U-0", "P0"), inspected("U-0", mass="15.1"))
    with open_reader(ready.book.store) as reader:
        [[one]] = ProcessReadings(reader, Selection(), "mass", unit="g").chunks()
        in_grams, in_pounds = (Doubts(reader, "mass").of(one, unit).u for unit in ("g", "lb"))
    assert in_grams is not None
    assert in_pounds is not None
    assert 453.59237 == pytest.approx(in_grams / in_pounds)


def test_a_group_takes_the_worst_and_forgets_nothing_unknown() -> None:
    """The largest u of all gauges; one reading without any leaves none, and one without scatter leaves that out."""
    group = GroupDoubt()
    for gauge, u, scatter in (("A", 0.1, 0.3), ("B", 0.2, 0.4), ("A", 0.15, 0.3)):
        group.take(Doubt(gauge, u, scatter, ""))
    assert group.worst is not None
    assert ("B", {"A": 0.15, "B": 0.2}) == (group.worst.gauge, {name: one.u for name, one in group.largest.items()})
    assert ((0.09 + 0.16 + 0.09) / 3) ** 0.5 == pytest.approx(group.scatter)
    group.take(Doubt("C", None, None, ""))
    assert {"C": 1} == dict(group.unknown)
    assert [None] * 4 == [group.worst, group.scatter, GroupDoubt().worst, GroupDoubt().scatter]
