"""Balls: units, serials with a history, engraving once and anew."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, MalformedSerial, UnknownSubject
from ledger.line.allotting import SerialsAllotted
from ledger.line.balls import BallEngravedAnew, UnitStarted, UnitWorked
from ledger.line.holds import HoldPlaced
from ledger.line.lots import left_of
from ledger.line.reading_rows import Measured
from ledger.line.record import Record
from ledger.line.rows import Allotment, Counter, Lot, SerialRow, Unit
from ledger.line.serial import next_serials
from ledger.line.standing_readings import manner_of
from tests.line.independent_fold import check_views
from tests.line.making import (
    SERIAL_KEY,
    allot,
    at,
    engrave,
    engraving,
    inspection,
    plan,
    reading,
    release,
    sample,
    shells,
    stocked_plant,
)


def started(unit: str = "U-1", **fields: Any) -> UnitStarted:
    """A ball of SL-1 on the lathe, on day 8, after its cure."""
    return UnitStarted(**{"at": at(8, "09:00"), "unit": unit, "lot": "SL-1", "station": "TURN-1", **fields})


def unit_worked(step: str, unit: str = "U-1") -> UnitWorked:
    """A step on a ball, on day 8."""
    return UnitWorked(at=at(8, "10:00"), unit=unit, step=step, station="SPIN-1")  # type: ignore[arg-type]  # one of its words


def anew(serial: str, unit: str = "U-1", **fields: Any) -> BallEngravedAnew:
    """Another number on a ball, on day 12."""
    return BallEngravedAnew(at=at(12), unit=unit, serial=serial, station="ENGRAVE-1", reason="slipped", **fields)


def test_a_ball_is_a_unit_before_it_has_a_serial() -> None:
    """Turned, marked, then engraved: one unit, one piece of the lot."""
    plant = stocked_plant()
    plant.submit(started(place=3))
    plant.submit(unit_worked("spin-tested"), unit_worked("cg-marked"))
    assert (None, True, "made") == (
        plant.row(Unit, "U-1").serial,
        plant.row(Unit, "U-1").cg_marked,
        plant.row(Unit, "U-1").state,
    )
    serial = engrave(plant, "U-1")
    unit = plant.row(Unit, "U-1")
    assert (serial, "engraved", 3, 19) == (unit.serial, unit.state, unit.place, left_of(plant.row(Lot, "SL-1")))


def test_an_engraving_alone_makes_the_unit() -> None:
    """A station that knows no turning registers a ball in one record."""
    plant = stocked_plant()
    serial = engrave(plant, "U-1")
    assert [(serial, "U-1", None, True)] == [
        (row.serial, row.unit, row.until_ms, row.own_scheme) for row in plant.tables.where(SerialRow, "unit", "U-1")
    ]


def test_serials_are_allotted_in_the_order_of_the_counter() -> None:
    """What another station took meanwhile is refused, and the counter goes on."""
    plant = stocked_plant()
    serials = allot(plant, 3)
    assert (3, "ENGRAVE-1") == (plant.row(Counter, "own").next, plant.row(Allotment, serials[0]).station)
    again = SerialsAllotted(at=at(1), station="ENGRAVE-2", first=0, serials=tuple(next_serials(SERIAL_KEY, 0, 1)))
    refusal = plant.refused(again)
    assert (Contradiction, "first", 3) == (type(refusal), refusal.where, refusal.expected)


def test_a_serial_allotted_twice_is_refused() -> None:
    """Even where the counter fits."""
    plant = stocked_plant()
    serials = allot(plant, 2)
    refusal = plant.refused(SerialsAllotted(at=at(1), station="E", first=2, serials=(serials[0],)))
    assert (Contradiction, "serials[0]") == (type(refusal), refusal.where)


@pytest.mark.parametrize("typed", ["ZZZZZZZZZ", "23456789", "l2345ACDF"])
def test_a_serial_that_the_scheme_cannot_have_made_is_malformed(typed: str) -> None:
    """Own-scheme numbers carry their check character."""
    with pytest.raises(MalformedSerial):
        stocked_plant().submit(engraving("U-1", typed))


def test_a_serial_not_written_as_engraved_is_malformed() -> None:
    """Lower case is understood when typed, and not entered."""
    plant = stocked_plant()
    refusal = plant.refused(engraving("U-1", allot(plant)[0].lower()))
    assert (MalformedSerial, "serial") == (type(refusal), refusal.where)


def _refusals(plant: Any) -> dict[str, tuple[Record, type[Exception], str]]:
    taken, free, never = plant.row(Unit, "U-1").serial, allot(plant)[0], next_serials(SERIAL_KEY, 900, 1)[0]
    return {
        "not allotted": (engraving("U-2", never), UnknownSubject, "serial"),
        "taken": (engraving("U-2", taken), Contradiction, "serial"),
        "bears one": (engraving("U-1", free), Contradiction, "unit"),
        "other lot": (engraving("U-3", free, lot="SL-2"), Contradiction, "lot"),
        "no lot": (engraving("U-2", free, lot="NONE"), UnknownSubject, "lot"),
        "core lot": (engraving("U-2", free, lot="CL-1"), Contradiction, "lot"),
        "started twice": (started("U-1"), Contradiction, "unit"),
        "no unit": (unit_worked("sanded", "U-9"), UnknownSubject, "unit"),
        "anew without": (anew(free, "U-3"), Contradiction, "unit"),
        "anew unknown": (anew(free, "U-9"), UnknownSubject, "unit"),
        "anew taken": (anew(taken), Contradiction, "serial"),
    }


@pytest.mark.parametrize("case", [
    "not allotted", "taken", "bears one", "other lot", "no lot", "core lot", "started twice", "no unit", "anew without",
    "anew unknown", "anew taken",
])  # fmt: skip
def test_what_contradicts_is_refused(case: str) -> None:
    """Each refusal is of its class and names its field."""
    plant = stocked_plant()
    plant.submit(shells("SL-2", ("CL-1", 1)))
    engrave(plant, "U-1")
    plant.submit(started("U-3"))
    record, error, where = _refusals(plant)[case]
    refusal = plant.refused(record)
    assert (error, where) == (type(refusal), refusal.where)


def test_engraving_anew_keeps_both_numbers_findable() -> None:
    """The old number ends when the new one begins."""
    plant = stocked_plant()
    old, new = engrave(plant, "U-1"), allot(plant)[0]
    plant.submit(anew(new))
    assert new == plant.row(Unit, "U-1").serial
    found = [
        (row.unit, row.until_ms is None)
        for serial in (old, new)
        for row in plant.tables.where(SerialRow, "serial", serial)
    ]
    assert [("U-1", False), ("U-1", True)] == found


def test_prior_numbers_may_repeat() -> None:
    """Two balls of an earlier scheme bear one number, and an own number is not taken by it."""
    plant = stocked_plant()
    plant.submit(engraving("U-1", "A-1234", scheme="prior"), engraving("U-2", "A-1234", scheme="prior"))
    assert ["U-1", "U-2"] == [row.unit for row in plant.tables.where(SerialRow, "serial", "A-1234")]


def test_a_ball_started_before_its_cure_is_a_breach_of_the_ball() -> None:
    """The ball is held, not its lot; the breach names the shell pour."""
    plant = stocked_plant()
    [breach] = plant.submit(started(at=at(8, "08:00"))).breaches
    assert ("final-cure-short", "unit:U-1", "6.0", at(8, "08:10")) == (
        breach.code,
        breach.node,
        breach.fact,
        breach.earliest,
    )


def test_a_ball_engraved_before_its_shell_was_poured_is_a_breach() -> None:
    """Whether or not the plan sets a window."""
    plant = stocked_plant()
    plant.submit(plan(at=at(2), windows=()))
    serial = allot(plant)[0]
    assert ["before-parent"] == plant.submit(engraving("U-1", serial, at=at(6))).codes


def test_more_balls_than_the_lot_had_is_a_breach_of_the_ball() -> None:
    """The first ball over the count is held."""
    plant = stocked_plant(count=1)
    engrave(plant, "U-1")
    serial = allot(plant)[0]
    assert [("over-drawn", "unit:U-2")] == [(b.code, b.node) for b in plant.submit(engraving("U-2", serial)).breaches]


@pytest.mark.parametrize("stop", ["use", "work"])
def test_turning_and_engraving_under_a_hold_are_breaches(stop: Any) -> None:
    """A hold on the drum that stops use or work reaches the lathe, once."""
    plant = stocked_plant()
    plant.submit(started("U-1"))
    plant.submit(HoldPlaced(at=at(8), hold="H-1", reason="void", node="lot:RESIN", stops=(stop,)))
    assert ["under-hold"] == plant.submit(started("U-2")).codes
    serials = allot(plant, 2)
    assert ["under-hold"] == plant.submit(engraving("U-3", serials[0])).codes
    expected = ["under-hold"] if stop == "work" else []
    assert expected == plant.submit(engraving("U-1", serials[1])).codes
    assert expected == plant.submit(unit_worked("sanded")).codes


def test_a_step_of_its_own_voids_what_it_can_have_changed() -> None:
    """What was read before it no longer stands, and what is reported of that time later neither; marking changes nothing."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    plant.submit(inspection("U-1", reading(), reading("hardness", "76")), unit_worked("cg-marked"))
    plant.submit(UnitWorked(at=at(11), unit="U-1", step="polished", station="P-1"))
    assert {"mass"} == set(manner_of(plant.row(Measured, "U-1")))
    plant.submit(inspection("U-1", reading("hardness", "76"), at=at(10, "15:00")))
    assert {"mass"} == set(manner_of(plant.row(Measured, "U-1")))
    plant.submit(inspection("U-1", reading("hardness", "76"), at=at(12)))
    assert {"mass", "hardness"} == set(manner_of(plant.row(Measured, "U-1")))
    plant.submit(UnitWorked(at=at(13), unit="U-1", step="turned", station="P-1"))
    assert {} == dict(manner_of(plant.row(Measured, "U-1")))
    check_views(plant)


def test_a_released_ball_that_is_worked_is_held() -> None:
    """Its release rests on what it was before: that takes a rework, which ends the release."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    plant.submit(inspection("U-1"), sample())
    released = plant.submit(release(plant, "U-1"))
    entered = plant.submit(UnitWorked(at=at(12), unit="U-1", step="sanded", station="P-1"))
    assert [("release-unfounded", "unit:U-1", released.address)] == [(b.code, b.node, b.fact) for b in entered.breaches]
    assert [] == plant.submit(UnitWorked(at=at(12), unit="U-1", step="pin-marked", station="P-1")).codes


def test_a_step_of_its_own_says_how_a_ball_is_finished() -> None:
    """The latest by its instant counts, however late it is reported; marking a ball says nothing of its surface."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    assert None is plant.row(Unit, "U-1").finish
    plant.submit(UnitWorked(at=at(9, "12:00"), unit="U-1", step="polished", station="P-1"))
    plant.submit(UnitWorked(at=at(9, "11:00"), unit="U-1", step="sanded", station="P-1"), unit_worked("cg-marked"))
    assert "polished" == plant.row(Unit, "U-1").finish
    check_views(plant)
