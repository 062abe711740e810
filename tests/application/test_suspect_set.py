"""Every ball below a suspect, with its certainty: counted as it is listed, and the same as the line sees ball by ball."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from ledger.application.suspect_set import SuspectSet
from ledger.errors import MalformedRecord, NotFound
from ledger.line.case_members import member_needs, touches
from ledger.line.state import State
from ledger.line.suspects import Suspect
from ledger.store.loader import Loader
from ledger.store.reader import open_reader
from tests.application.floor import (
    Floor,
    at,
    calibrated,
    cores,
    corrected,
    engraved,
    inspected,
    registered,
    shells,
    worked,
)
from tests.application.suspected import answered, mixed_floor, opening, register, ship, suspect_set

BALLS = ("A-0", "A-1", "A-7", "B-1", "B-2", "C-1")
EVERY = dict.fromkeys(BALLS, "certain")
SUSPECTS: list[tuple[dict[str, Any], dict[str, str]]] = [
    ({"sort": "material-lot", "name": "DRUM"}, EVERY),
    ({"sort": "batch", "name": "MIX"}, EVERY),
    (
        {"sort": "block-lot", "name": "BL-1"},
        {"A-1": "certain", "A-0": "possible", "B-1": "possible", "B-2": "possible"},
    ),
    (
        {"sort": "core-lot", "name": "CL-2"},
        {"A-7": "certain", "C-1": "certain", "A-0": "possible", "B-1": "possible", "B-2": "possible"},
    ),
    ({"sort": "shell-lot", "name": "SL-2"}, {"B-1": "certain", "B-2": "certain"}),
    ({"sort": "week", "name": "2026-W39"}, EVERY),
    ({"sort": "week", "name": "2026-W38"}, {}),
    ({"sort": "mould", "name": "MS-3"}, {"C-1": "certain"}),
    ({"sort": "mould", "name": "MS-1", "from_at": at(41), "to_at": at(41.25)}, {"B-1": "certain", "B-2": "certain"}),
    ({"sort": "mould", "name": "MS-1", "from_at": at(41.25)}, {"B-1": "possible", "B-2": "possible"}),
    ({"sort": "mould", "name": "MS-1", "from_at": at(41.3)}, {}),
    (
        {"sort": "station", "name": "L-2"},
        {"A-7": "certain", "C-1": "certain", "A-0": "possible", "B-1": "possible", "B-2": "possible"},
    ),
    ({"sort": "station", "name": "E-2"}, {"B-2": "certain"}),
    ({"sort": "station", "name": "E-2", "from_at": at(70), "to_at": at(70)}, {"B-2": "certain"}),
    ({"sort": "station", "name": "E-2", "from_at": at(70.1)}, {}),
    ({"sort": "gauge", "name": "G-MASS"}, {"C-1": "certain"}),
    ({"sort": "gauge", "name": "G-MASS", "to_at": at(70.9)}, {}),
    ({"sort": "serials", "serial_prefix": "P-A"}, {"A-0": "certain", "A-1": "certain", "A-7": "certain"}),
    ({"sort": "serials", "first_serial": "P-A-7", "last_serial": "P-B-1"}, {"A-7": "certain", "B-1": "certain"}),
    ({"sort": "serials", "serial_prefix": "Z"}, {}),
]


@pytest.mark.parametrize(("fields", "expected"), SUSPECTS)
def test_each_sort_finds_the_balls_below_it(floor: Floor, fields: dict[str, Any], expected: dict[str, str]) -> None:
    """Certain where the records leave no other way, possible where they do not clear it; and the count is the list's."""
    mixed_floor(floor)
    assert expected == suspect_set(floor, **fields)
    with open_reader(floor.book.store) as reader:
        counts = SuspectSet(reader, Suspect(**fields)).counts()
    told = {certainty: list(expected.values()).count(certainty) for certainty in ("certain", "possible")}
    assert told == {certainty: counter.total() for certainty, counter in counts.items()}


def hold_ways_together(floor: Floor, units: Sequence[str], **fields: Any) -> dict[str, str]:
    """Every ball below a suspect, after each of some balls was asked for by itself and found in it or not."""
    suspect, found = Suspect(**fields), suspect_set(floor, **fields)
    for unit in units:
        with open_reader(floor.book.store) as reader:
            state = State()
            loader = Loader(reader.transaction.dialect)
            while missing := state.lacking(member_needs(suspect, unit, state)):
                loader.load(reader.transaction, state, missing)
            assert touches(suspect, unit, state) == (unit in found), (fields, unit)
    return found


def test_the_line_sees_each_ball_as_the_set_does(floor: Floor) -> None:
    """For every sort: the two ways are held against each other."""
    mixed_floor(floor)
    for fields, expected in SUSPECTS:
        assert expected == hold_ways_together(floor, BALLS, **fields)


def test_a_gauge_is_behind_every_ball_that_it_read(floor: Floor) -> None:
    """A reading that another took the place of counts, or that rework voided, not one that was withdrawn; and lots' own."""
    mixed_floor(floor)
    again = {**registered("mass"), "gauge": "G-NEW"}
    floor.say(again, {**calibrated("mass"), "gauge": "G-NEW"})
    newer = inspected("C-1", 72, mass="15.1")
    newer["readings"] = [{**newer["readings"][0], "gauge": "G-NEW"}]
    floor.say(newer, inspected("A-1", 71.5, mass="15.1"), inspected("B-1", 71.5, mass="15.1"))
    lot = {"kind": "inspection", "at": at(60), "lot": "CL-1", "station": "I-1"}
    floor.say({**lot, "readings": [{"quantity": "mass", "unit": "lb", "values": ["6"], "gauge": "G-MASS"}]})
    fact = next(told.fact for told in floor.book.ball("B-1").history if told.kind == "inspection")
    floor.say(corrected({"fact": fact}))
    below = {"A-1": "certain", "A-0": "possible", "B-1": "possible", "B-2": "possible"}
    assert {**below, "C-1": "certain"} == hold_ways_together(floor, BALLS, sort="gauge", name="G-MASS")
    assert {"C-1": "certain"} == hold_ways_together(floor, BALLS, sort="gauge", name="G-NEW")
    early = hold_ways_together(floor, BALLS, sort="gauge", name="G-MASS", from_at=at(61), to_at=at(71))
    assert {"C-1": "certain"} == early
    assert below == hold_ways_together(floor, BALLS, sort="gauge", name="G-MASS", to_at=at(60)) | {"A-1": "certain"}


def test_an_answer_about_a_ball_that_the_gauge_did_not_read_is_doubted(floor: Floor) -> None:
    """The check of an answer asks for the readings of the ball, as the book has them."""
    mixed_floor(floor)
    register(floor, "SHOP-1")
    ship(floor, "SH-1", "C-1", "A-7", to="SHOP-1")
    floor.say(opening(sort="gauge", name="G-MASS"))
    said = floor.say(answered("SHOP-1", {"unit": "C-1", "said": "sold"}, {"unit": "A-7", "said": "sold"}))
    assert ["answer-not-of-case"] == [breach.code for breach in said.breaches[0]]


def test_a_week_is_that_of_the_pour(floor: Floor) -> None:
    """Of a lot that goes on from pours of two weeks each ball may be of either; split off, it stays of its own."""
    floor.stock(40)
    floor.say(cores("CL-1", 30, ("BL-1", 40)))
    floor.say(shells("SL-1", 40, ("CL-1", 10)), shells("SL-2", 40 + 168, ("CL-1", 10)))
    floor.say({"kind": "lot-split", "at": at(250), "lot": "SL-2", "into": "SL-3", "count": 2})
    merged = {"kind": "lots-merged", "at": at(251), "into": "SL-4"}
    floor.say({**merged, "lots": [{"lot": "SL-1", "count": 2}, {"lot": "SL-2", "count": 2}]})
    units = [f"A-{number}" for number in (1, 2, 3, 4)]
    for number, unit in enumerate(units, 1):
        floor.say(engraved(unit, f"P-{unit}", 260, lot=f"SL-{number}"))
    assert {"A-1": "certain", "A-4": "possible"} == hold_ways_together(floor, units, sort="week", name="2026-W39")
    later = {"A-2": "certain", "A-3": "certain", "A-4": "possible"}
    assert later == hold_ways_together(floor, units, sort="week", name="2026-W40")


@pytest.mark.parametrize(
    ("fields", "error"),
    [
        ({"sort": "block-lot", "name": "BL-9"}, NotFound),
        ({"sort": "core-lot", "name": "BL-1"}, NotFound),
        ({"sort": "gauge", "name": "G-9"}, NotFound),
        ({"sort": "serials"}, MalformedRecord),
    ],
)
def test_a_suspect_that_is_not_there_is_told(floor: Floor, fields: dict[str, Any], error: type[Exception]) -> None:
    """By name, and by stage."""
    mixed_floor(floor)
    with pytest.raises(error):
        suspect_set(floor, **fields)


def test_a_mould_that_changed_in_mid_lot_is_told_by_place(floor: Floor) -> None:
    """Pieces after the count are certain, those before are clear, and those without a place are possible."""
    floor.stock(20)
    floor.say(cores("CL-1", 30, ("BL-1", 20)))
    floor.say(shells("SL-1", 40, ("CL-1", 10)))
    change = {"kind": "lot-changed", "at": at(40.1), "lot": "SL-1", "count": 5, "what": "mould-set", "to": "MS-2"}
    floor.say(change)
    for unit, fields in (("A-5", {"place": 5}), ("A-6", {"place": 6}), ("A-0", {})):
        floor.say(engraved(unit, f"P-{unit}", 70, **fields))
    assert {"A-6": "certain", "A-0": "possible"} == suspect_set(floor, sort="mould", name="MS-2")
    part = suspect_set(floor, sort="mould", name="MS-2", to_at=at(40.1))
    assert {"A-6": "possible", "A-0": "possible"} == part
    everything = suspect_set(floor, sort="mould", name="MS-1")
    assert dict.fromkeys(("A-5", "A-6", "A-0"), "certain") == everything


def test_what_a_station_did_to_whole_lots_goes_down_to_their_balls(floor: Floor) -> None:
    """A step on a core lot is a step on all that it became part of; its span includes both ends."""
    mixed_floor(floor)
    floor.say({**worked("CL-2", "trimmed", 33), "station": "TRIM-1"})
    expected = {"A-7": "certain", "C-1": "certain", "A-0": "possible", "B-1": "possible", "B-2": "possible"}
    assert expected == suspect_set(floor, sort="station", name="TRIM-1", from_at=at(33), to_at=at(33.5))
    partly = suspect_set(floor, sort="station", name="TRIM-1", from_at=at(33.5))
    assert dict.fromkeys(expected, "possible") == partly
    assert {} == suspect_set(floor, sort="station", name="TRIM-1", from_at=at(33.6))


def test_a_ball_started_or_worked_at_a_station_is_named_by_itself(floor: Floor) -> None:
    """Whatever its lot."""
    mixed_floor(floor)
    floor.say({"kind": "unit-started", "at": at(71), "unit": "A-3", "lot": "SL-1", "station": "LATHE-9", "place": 3})
    floor.say({"kind": "unit-worked", "at": at(72), "unit": "C-1", "step": "polished", "station": "POL-9"})
    assert {"A-3": "certain"} == suspect_set(floor, sort="station", name="LATHE-9")
    assert {"C-1": "certain"} == suspect_set(floor, sort="station", name="POL-9", to_at=at(72))
    assert {} == suspect_set(floor, sort="station", name="POL-9", to_at=at(71.9))


def test_a_gauge_that_read_a_lot_makes_its_balls_possible(floor: Floor) -> None:
    """Which pieces it read the book does not say; a ball that it read by itself is certain, a voided reading too."""
    mixed_floor(floor)
    lot = {"kind": "inspection", "at": at(60), "lot": "SL-2", "station": "I-1"}
    reading = {"quantity": "hardness", "unit": "shore_d", "values": ["74"], "gauge": "G-HARDNESS"}
    floor.say({**lot, "readings": [reading]}, inspected("B-1", 72, hardness="74"), inspected("A-1", 72, hardness="74"))
    assert {"B-1": "certain", "B-2": "possible", "A-1": "certain"} == suspect_set(
        floor, sort="gauge", name="G-HARDNESS"
    )
    floor.say({"kind": "rework", "at": at(73), "unit": "A-1", "operation": "resurface", "station": "R-1"})
    assert "certain" == suspect_set(floor, sort="gauge", name="G-HARDNESS")["A-1"]


def test_a_number_that_was_engraved_over_still_names_its_ball(floor: Floor) -> None:
    """By when it was engraved."""
    mixed_floor(floor)
    anew = {"kind": "ball-engraved-anew", "at": at(75), "unit": "C-1", "serial": "Q-1", "scheme": "prior"}
    floor.say({**anew, "station": "E-1", "reason": "worn"})
    assert "C-1" in suspect_set(floor, sort="serials", serial_prefix="P-C")
    assert {"C-1": "certain"} == suspect_set(floor, sort="serials", serial_prefix="Q")
    assert {} == suspect_set(floor, sort="serials", serial_prefix="Q", to_at=at(74.9))


def test_a_lot_suspected_in_part_is_certain_by_another_that_it_is_made_of(floor: Floor) -> None:
    """Of a line that poured cores in the span, and shells of them partly after it, every ball is certain."""
    floor.stock(20)
    floor.say(cores("CL-1", 30, ("BL-1", 20), line="L-9"))
    floor.say(shells("SL-1", 40, ("CL-1", 10), line="L-9"))
    floor.say(engraved("A-1", "P-1", 70))
    assert {"A-1": "certain"} == suspect_set(floor, sort="station", name="L-9", to_at=at(40.1))
    assert {"A-1": "possible"} == suspect_set(floor, sort="station", name="L-9", from_at=at(40.1))


def test_every_ball_of_lots_that_go_on_from_others_is_found(floor: Floor) -> None:
    """Split lots surely, merged ones possibly."""
    mixed_floor(floor)
    floor.say({"kind": "lot-split", "at": at(73), "lot": "SL-3", "into": "SL-3A", "count": 2})
    merged = {"kind": "lots-merged", "at": at(74), "into": "SL-M"}
    floor.say({**merged, "lots": [{"lot": "SL-3", "count": 1}, {"lot": "SL-2", "count": 1}]})
    floor.say(engraved("D-1", "P-D-1", 75, lot="SL-3A"), engraved("D-2", "P-D-2", 75, lot="SL-M"))
    assert {"C-1": "certain", "D-1": "certain", "D-2": "possible"} == suspect_set(floor, sort="mould", name="MS-3")


def test_a_gauge_of_its_own_touches_nothing_before_it_reads(floor: Floor) -> None:
    """A registered gauge without a reading."""
    mixed_floor(floor)
    again = {**registered("mass"), "gauge": "G-NEW"}
    floor.say(again, {**calibrated("mass"), "gauge": "G-NEW"})
    assert {} == suspect_set(floor, sort="gauge", name="G-NEW")
