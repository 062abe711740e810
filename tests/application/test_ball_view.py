"""Everything about one ball, as a person who looks it up is told."""

from __future__ import annotations

import pytest

from ledger.application.ball_view import Ball
from ledger.errors import Contradiction, NotFound
from tests.application.floor import (
    GTIN,
    Floor,
    at,
    blocks,
    calibrated,
    claimed,
    cores,
    corrected,
    engraved,
    held,
    inspected,
    mixed,
    model,
    plan,
    registered,
    shells,
    studied,
)  # fmt: skip


def materials(ball: Ball) -> dict[str, tuple[str, int]]:
    """The lots above a ball: certainty and level."""
    return {lot.lot: (lot.certainty, lot.level) for lot in ball.materials}


def test_a_ball_tells_what_it_is(ready: Floor) -> None:
    """Model, class, lot, day of engraving, number, state and grade are those of the facts."""
    ready.ball("U-1", "P-1", place=7)
    ball = ready.book.ball("U-1")
    assert ("U-1", "P-1", "engraved", None, None) == (ball.unit, ball.serial, ball.state, ball.grade, ball.release)
    assert ("M1", "Model M1", "Example", "09521234543213") == (ball.model, ball.model_name, ball.brand, ball.gtin)
    assert (15, "SL-1", 7, "2026-09-24") == (ball.weight_class_lb, ball.lot, ball.place, ball.made_on)
    assert [("P-1", at(70), "", False)] == [(n.serial, n.since, n.until, n.own_scheme) for n in ball.numbers]


def test_a_released_ball_names_its_release(ready: Floor) -> None:
    """Grade and release of a ball are those of the release that stands."""
    ready.ball("U-1", "P-1")
    entered = ready.book.release(["U-1"], "first", "release", ready.lead).result(30)
    ball = ready.book.ball("U-1")
    assert ("released", "first", entered.addresses[0]) == (ball.state, ball.grade, ball.release)


def test_an_unknown_unit_is_not_found(ready: Floor) -> None:
    """A unit that the book does not know is said to be none."""
    with pytest.raises(NotFound, match="U-9"):
        ready.book.ball("U-9")


def test_a_reading_tells_its_conditions_and_its_uncertainty(ready: Floor) -> None:
    """What was stated with it, and where its uncertainty comes from: its gauge's calibration and study, or its own U."""
    ready.ball("U-1", "P-1")
    study = ready.say(studied("mass"))
    calibration = ready.say(calibrated("mass", 60, expanded="0.02", as_found="0.01"))
    said = inspected("U-1", 80, mass="15.1", hardness="76")
    said["readings"][1] |= {"expanded": "1", "values": ["76", "76"], "statistic": "mean", "spacing_mm": "6"}
    ready.say({**said, "temperature_c": "21.50", "delay_s": "10", "surface": "sanded"})
    seen = {reading.quantity: reading for reading in ready.book.ball("U-1").readings}
    mass, hardness = seen["mass"], seen["hardness"]
    assert ("21.5", "10", "sanded", "G-MASS", "single", 1) == (
        mass.temperature_c, mass.delay_s, mass.surface, mass.gauge, mass.statistic, mass.values,
    )  # fmt: skip
    assert (
        f"repeatability 0.0142 lb (study {study.addresses[0]}); calibration U = 0.02 lb, k = 2 "
        f"(fact {calibration.addresses[0]}); resolution 0.001 lb; bias found 0.01 lb at calibration, not applied"
    ) == mass.uncertainty_from
    assert "0.017323" == mass.standard_uncertainty
    assert ("0.5", "U = 1 Shore D stated with the reading, k = 2", "6") == (
        hardness.standard_uncertainty, hardness.uncertainty_from, hardness.spacing_mm,
    )  # fmt: skip


def test_materials_go_back_to_the_drum(ready: Floor) -> None:
    """Every lot above a ball is named, with its level; all are certain where each stage drew from one lot."""
    ready.ball("U-1", "P-1")
    expected = {"CL-1": 1, "DRUM": 1, "BL-1": 2, "MIX": 2}
    assert {lot: ("certain", level) for lot, level in expected.items()} == materials(ready.book.ball("U-1"))


def test_one_of_two_core_lots_is_possible(floor: Floor) -> None:
    """A ball of a lot that was filled up from a second core lot holds one or the other; what both hold is certain."""
    floor.stock()
    floor.say(blocks("BL-2", 3, 20))
    floor.say(cores("CL-1", 30, ("BL-1", 20)), cores("CL-2", 30, ("BL-2", 20)))
    floor.say(shells("SL-1", 40, ("CL-1", 20), ("CL-2", 20)))
    floor.ball("U-1", "P-1")
    found = materials(floor.book.ball("U-1"))
    possible = {lot for lot, (certainty, _) in found.items() if certainty == "possible"}
    assert ({"CL-1", "CL-2", "BL-1", "BL-2"}, {"DRUM", "MIX"}) == (possible, set(found) - possible)


def test_a_known_place_makes_a_core_lot_certain(floor: Floor) -> None:
    """Where positions were recorded and the ball's is known, one core lot is certain and the other is not named."""
    floor.stock()
    floor.say(cores("CL-1", 30, ("BL-1", 20)), cores("CL-2", 30, ("BL-1", 20)))
    floor.say(shells("SL-1", 40, ("CL-1", 20, 1, 20), ("CL-2", 20, 21, 40)))
    floor.ball("U-1", "P-1", place=21)
    found = materials(floor.book.ball("U-1"))
    assert ("certain", False) == (found["CL-2"][0], "CL-1" in found)
    assert [cure.lot for cure in floor.book.ball("U-1").cures if cure.stage == "core-rest"] == ["CL-2"]


def test_readings_say_why_they_may_not_be_used(ready: Floor) -> None:
    """A reading of a gauge that was found wrong afterwards is shown, and is not judged by."""
    ready.ball("U-1", "P-1")
    ready.say(calibrated("hardness", 80, as_found_good=False))
    ball = ready.book.ball("U-1")
    unusable = {reading.quantity: reading.unusable for reading in ball.readings if reading.unusable}
    assert {"hardness": "G-HARDNESS: the gauge was found wrong afterwards"} == unusable
    hardness = [verdict.outcome for verdict in ball.judged[0].verdicts if verdict.requirement == "usbc.hardness"]
    assert ["not_measured"] == hardness


def test_readings_carry_value_unit_uncertainty_and_fact(ready: Floor) -> None:
    """A reading is told as it was measured, with half its stated expanded uncertainty."""
    ready.say(engraved("U-1", "P-1"))
    reading = {"quantity": "mass", "unit": "lb", "values": ["15.10", "15.20"], "gauge": "G-MASS", "statistic": "mean"}
    told = {**inspected("U-1"), "readings": [{**reading, "expanded": "0.02"}]}
    entered = ready.say(told)
    (seen,) = ready.book.ball("U-1").readings
    assert ("mass", "15.15", "lb", "0.01", entered.addresses[0], "") == (
        seen.quantity, seen.value, seen.unit, seen.standard_uncertainty, seen.fact, seen.unusable,
    )  # fmt: skip


def test_a_rework_voids_readings(ready: Floor) -> None:
    """What a rework can have changed is no longer among the readings."""
    ready.ball("U-1", "P-1")
    ready.say({"kind": "rework", "at": at(80), "unit": "U-1", "operation": "polish", "station": "W-1"})
    ball = ready.book.ball("U-1")
    assert ("reworked", False, True) == (
        ball.state,
        "hardness" in {reading.quantity for reading in ball.readings},
        "mass" in {reading.quantity for reading in ball.readings},
    )


def test_former_numbers_stay(ready: Floor) -> None:
    """A ball that was engraved anew tells both numbers, and until when it bore the first."""
    ready.ball("U-1", "P-1")
    anew = {"kind": "ball-engraved-anew", "at": at(80), "unit": "U-1", "serial": "P-2", "station": "E-1"}
    ready.say({**anew, "reason": "cut-badly", "scheme": "prior"})
    ball = ready.book.ball("U-1")
    assert "P-2" == ball.serial
    assert [("P-1", at(80)), ("P-2", "")] == [(number.serial, number.until) for number in ball.numbers]


def test_holds_above_are_shown(ready: Floor) -> None:
    """Holds on the ball, its lot and any lot above are told, lifted ones as such; those of other lots are not."""
    ready.ball("U-1", "P-1")
    ready.say(mixed("OTHER", "DRUM", 10, 5))
    ready.say(held("H-UNIT", 101, node="unit:U-1"), held("H-LOT", 102, node="lot:SL-1"))
    ready.say(held("H-DRUM", 103, node="lot:DRUM"), held("H-OTHER", 104, node="lot:OTHER"))
    ready.say({"kind": "hold-lifted", "at": at(105), "hold": "H-LOT", "reason": "looked-at"})
    holds = [(hold.hold, hold.node, hold.open) for hold in ready.book.ball("U-1").holds]
    assert [("H-UNIT", "unit:U-1", True), ("H-LOT", "lot:SL-1", False), ("H-DRUM", "lot:DRUM", True)] == holds


@pytest.mark.parametrize(
    ("rule", "fits"),
    [
        ({"model": "M1"}, True),
        ({"stage": "block", "began_from": at(2), "began_to": at(4)}, True),
        ({"stage": "block", "began_from": at(4)}, False),
        ({"serial_prefix": "P-"}, True),
        ({"serial_prefix": "Q-"}, False),
        ({"model": "M2"}, False),
    ],
)
def test_holds_by_rule_are_shown(ready: Floor, rule: dict[str, str], fits: bool) -> None:  # noqa: FBT001  # by parametrize
    """A hold that names a rule is told of every ball that the rule takes in, whatever it stops, lifted or not."""
    ready.ball("U-1", "P-1")
    ready.say(held("H-RULE", rule=rule, stops=["work"]))
    assert [("H-RULE", True)] * fits == [(hold.hold, hold.open) for hold in ready.book.ball("U-1").holds]
    ready.say({"kind": "hold-lifted", "at": at(105), "hold": "H-RULE", "reason": "looked-at"})
    assert [("H-RULE", False)] * fits == [(hold.hold, hold.open) for hold in ready.book.ball("U-1").holds]


def test_a_concession_above_is_shown(floor: Floor) -> None:
    """A breach's hold that was conceded on a lot above is told with the concession."""
    floor.stock()
    early = floor.say(cores("CL-1", 20, ("BL-1", 40)))
    floor.say(shells("SL-1", 40, ("CL-1", 40)))
    floor.ball("U-1", "P-1")
    hold = f"B{early.addresses[0]}.0"
    conceded = {"kind": "concession", "at": at(90), "node": "lot:CL-1", "holds": [hold], "reason": "cut-open"}
    entered = floor.say(conceded)
    ball = floor.book.ball("U-1")
    assert [(hold, "block-rest-short", False)] == [(one.hold, one.reason, one.open) for one in ball.holds]
    assert [(entered.addresses[0], "lot:CL-1", hold)] == [
        (one.concession, one.node, one.holds) for one in ball.concessions
    ]


def test_journeys_tell_what_left_and_came_back(ready: Floor) -> None:
    """A shipment and its return are one journey, and the next is another."""
    ready.ball("U-1", "P-1")
    leaves = {"kind": "shipment", "units": ["U-1"], "consignee": "A shop", "purpose": "test"}
    ready.say({**leaves, "at": at(80), "shipment": "S-1"})
    ready.say({"kind": "returned", "at": at(90), "unit": "U-1", "reason": "done", "shipment": "S-1"})
    ready.say({**leaves, "at": at(95), "shipment": "S-2", "purpose": "display"})
    journeys = [(one.shipment, one.at, one.purpose, one.back_at) for one in ready.book.ball("U-1").journeys]
    assert [("S-1", at(80), "test", at(90)), ("S-2", at(95), "display", "")] == journeys


def test_claims_are_found_by_unit_and_by_any_number(ready: Floor) -> None:
    """Claims that name the unit, its number or a former one are told once each, oldest first; those of others are not."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-3")
    anew = {"kind": "ball-engraved-anew", "at": at(80), "unit": "U-1", "serial": "P-2", "station": "E-1"}
    ready.say({**anew, "reason": "cut-badly", "scheme": "prior"})
    ready.say(claimed("C-1", 300, unit="U-1", serial="P-2"), claimed("C-2", 301, serial="P-1"))
    ready.say(claimed("C-3", 302, serial="P-2"), claimed("C-4", 303, serial="P-3"))
    assert ["C-1", "C-2", "C-3"] == [claim.claim for claim in ready.book.ball("U-1").claims]


def test_a_repeated_number_is_claimed_on_the_ball_that_is_named(ready: Floor) -> None:
    """Where two balls bear one prior number, a claim that names one of them is not told of the other."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-1")
    ready.say(claimed("C-1", unit="U-2", serial="P-1"), claimed("C-2", serial="P-1"))
    claims = {unit: [claim.claim for claim in ready.book.ball(unit).claims] for unit in ("U-1", "U-2")}
    assert {"U-1": ["C-2"], "U-2": ["C-1", "C-2"]} == claims


def test_the_history_shows_withdrawn_and_corrected_facts(ready: Floor) -> None:
    """A withdrawn reading, a replaced one and a fact that was moved to another ball all stay in sight, marked as such."""
    first = ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-2")
    wrong, right = ready.say(inspected("U-1", 80, mass="14.1")), inspected("U-2", 80, mass="14.1")
    moved = ready.say(corrected({"fact": wrong.addresses[0], "replacement": right}))
    gone = ready.say(corrected({"fact": first.addresses[1]}))
    lines = {
        told.fact: (told.kind, told.standing, told.moved, told.corrected_by) for told in ready.book.ball("U-1").history
    }
    assert {
        first.addresses[0]: ("ball-engraved", True, False, ""),
        first.addresses[1]: ("inspection", False, False, gone.addresses[0]),
        wrong.addresses[0]: ("inspection", True, True, moved.addresses[0]),
    } == lines
    assert (wrong.addresses[0], True, False) == next(
        (told.fact, told.standing, told.moved)
        for told in ready.book.ball("U-2").history
        if told.fact == wrong.addresses[0]
    )


def test_the_history_tells_author_times_and_breaches(ready: Floor) -> None:
    """Each line says who said it, when it happened, when it was recorded, whether late or doubtful, and what was wrong."""
    ready.say(engraved("U-1", "P-1", 999.5))
    ready.say(inspected("U-1", 990, mass="15.1"))
    ready.say(inspected("U-1", 1_001, mass="15.1"))
    history = ready.book.ball("U-1").history
    assert [(False, False), (True, False), (False, True)] == [(told.late, told.doubtful) for told in history]
    assert {(ready.lead.account, at(1_000))} == {(told.author, told.recorded_at) for told in history}
    assert [at(999.5), at(990), at(1_001)] == [told.at for told in history]
    ready.ball("U-2", "P-2", 50)
    (breach,) = ready.book.ball("U-2").history[0].breaches
    assert breach.startswith("final-cure-short: ")


def test_a_quantity_judged_by_sample_is_told_as_such(ready: Floor) -> None:
    """A ball that was not measured for it shows the lot's latest sample, never a reading of its own."""
    ready.say(engraved("U-1", "P-1", 70), inspected("U-1", 71, mass="15.1"))
    judged = {"kind": "sample-judged", "lot": "SL-1", "quantity": "hardness", "n": 5, "rests_on": "0" * 64}
    ready.say({**judged, "at": at(72), "nonconforming": 2, "accepted": False})
    entered = ready.say({**judged, "at": at(73), "nonconforming": 0, "accepted": True})
    ready.say({**judged, "at": at(74), "quantity": "mass", "nonconforming": 0, "accepted": True})
    ball = ready.book.ball("U-1")
    assert ["mass"] == [reading.quantity for reading in ball.readings]
    assert [("hardness", 5, 0, True, entered.addresses[0])] == [
        (one.quantity, one.n, one.nonconforming, one.accepted, one.fact) for one in ball.by_lot_sample
    ]


def test_the_sample_of_the_lot_that_a_ball_came_from_is_told(ready: Floor) -> None:
    """Split off after it was judged, and merged: each sample is told with the lot that it was drawn from."""
    judged = {"kind": "sample-judged", "quantity": "hardness", "n": 5, "nonconforming": 0, "rests_on": "0" * 64}
    first = ready.say({**judged, "at": at(60), "lot": "SL-1", "accepted": True}).addresses[0]
    ready.say({"kind": "lot-split", "at": at(61), "lot": "SL-1", "into": "SL-2", "count": 9})
    second = ready.say({**judged, "at": at(62), "lot": "SL-2", "accepted": True}).addresses[0]
    parts = [{"lot": lot, "count": 3} for lot in ("SL-1", "SL-2")]
    ready.say({"kind": "lots-merged", "at": at(63), "lots": parts, "into": "SL-3"})
    ready.say({**judged, "at": at(64), "lot": "SL-1", "accepted": False})
    ready.say(engraved("U-3", "P-3", 70, lot="SL-3"))
    told = [(one.quantity, one.lot, one.accepted, one.fact) for one in ready.book.ball("U-3").by_lot_sample]
    assert [("hardness", "SL-1", True, first), ("hardness", "SL-2", True, second)] == sorted(told)


def test_a_quantity_tested_once_per_model_is_told_as_such(ready: Floor) -> None:
    """By model test, of the ball's revision, the newest; never a reading of the ball's own, and not where it has one."""
    once = [{"quantity": quantity, "every": "model"} for quantity in ("hardness", "mass")]
    ready.say(plan("M1", at=at(65), inspect=once))
    ready.say(engraved("U-1", "P-1", 70), inspected("U-1", 71, mass="15.1"))
    tested = {"kind": "model-judged", "model": "M1", "n": 5, "rests_on": "0" * 64, "accepted": True}
    ready.say({**tested, "at": at(72), "quantity": "hardness", "nonconforming": 1})
    newest = ready.say({**tested, "at": at(73), "quantity": "hardness", "nonconforming": 0}).addresses[0]
    ready.say({**tested, "at": at(73), "quantity": "mass", "nonconforming": 0})
    ready.say(model("M1", GTIN, at=at(74), revision=2))
    ready.say({**tested, "at": at(75), "quantity": "hardness", "nonconforming": 2})
    ball = ready.book.ball("U-1")
    assert [("hardness", 1, 5, 0, True, newest)] == [
        (one.quantity, one.revision, one.n, one.nonconforming, one.accepted, one.fact) for one in ball.by_model_test
    ]
    assert (["mass"], ()) == ([reading.quantity for reading in ball.readings], ball.by_lot_sample)


def test_what_is_used_is_not_withdrawn_from_a_store(ready: Floor) -> None:
    """The store finds the balls and inspections that rest on it, as the line asks for them; unused, it goes."""
    ready.say(engraved("U-1", "P-1", 70))
    gauge = ready.say({**registered("mass"), "gauge": "G-2"}, {**calibrated("mass"), "gauge": "G-2"}).addresses
    read = inspected("U-1", 71, mass="15.1", hardness="75")
    read["readings"][0]["gauge"] = "G-2"
    fact = ready.say(read).addresses[0]
    away = [{"fact": address} for address in gauge]
    with pytest.raises(Contradiction, match=f"fact {fact} read with it"):
        ready.say(corrected(*away))
    later, last = (ready.say(plan("M1", at=at(hours))).addresses[0] for hours in (60, 90))
    with pytest.raises(Contradiction, match="unit U-1 was begun under it"):
        ready.say(corrected({"fact": later}))
    ready.say(corrected(*away, {"fact": fact}))
    ready.say(corrected({"fact": last}))
    assert ready.book.ball("U-1").readings == ()
