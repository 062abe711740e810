"""Ways round a judgement: corrections that give a grade back, holds lifted unseen, samples that were taken back or rejected."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.application.releasing import Wanted, release_records
from ledger.errors import RuleStands, UnknownSubject
from ledger.line.releases import Release
from tests.application.floor import OFFICE, Floor, at, calibrated, corrected, engraved, inspected, plan, record, shells
from tests.application.test_covered import MODEL, model_tested, release, sampled, unhardened
from tests.application.test_said_releases import refused, say

SPLIT = {"kind": "lot-split", "at": at(62), "lot": "SL-1", "into": "SL-2", "count": 10}


def lifted(hold: str) -> dict[str, Any]:
    """A hold is lifted as it is."""
    return {"kind": "hold-lifted", "at": at(220), "hold": hold, "reason": "as-it-is"}


def open_holds(floor: Floor, unit: str = "U-1") -> list[tuple[str, str]]:
    """The holds on a ball or above it that are open, with their reasons."""
    return [(one.hold, one.reason) for one in floor.book.ball(unit).holds if one.open]


def first(floor: Floor, unit: str = "U-1") -> None:
    """The ball goes to first quality by the service."""
    floor.book.release([unit], "first", f"first-{unit}", floor.lead).result(30)


def withdrawn(fact: str) -> dict[str, Any]:
    """A fact is taken back."""
    return corrected({"fact": fact})


def held_as_unfounded(floor: Floor) -> None:
    """U-1 is held, and nobody lifts that while it is first quality and fails."""
    ((hold, reason),) = open_holds(floor)
    assert "release-unfounded" == reason
    assert RuleStands is type(refused(floor, record(lifted(hold))))


def test_a_grade_that_a_correction_gives_back_is_held(ready: Floor) -> None:
    """A ball that was regraded for failing, its hold lifted for that, is not first quality again by taking the regrade back."""
    entered = ready.ball("U-1", "P-1")
    first(ready)
    fixed = ready.say(corrected({"fact": entered.addresses[1], "replacement": inspected("U-1", 71, hardness="60")}))
    regraded = ready.say({"kind": "regrade", "at": at(211), "unit": "U-1", "grade": "second", "reason": "soft"})
    ready.say(lifted(f"B{fixed.addresses[0]}.0"))
    ready.say(withdrawn(regraded.addresses[0]))
    held_as_unfounded(ready)


@pytest.mark.parametrize("ended", ["rework", "scrap"])
def test_a_release_that_a_correction_brings_back_is_held(ready: Floor, ended: str) -> None:
    """A rework or scrap that never was: the release stands again, beside a reading that failed meanwhile."""
    ready.ball("U-1", "P-1")
    first(ready)
    ends = {
        "rework": {"operation": "polish", "station": "R-1"},
        "scrap": {"how": "scrap", "reason": "soft"},
    }
    over = ready.say({"kind": ended, "at": at(90), "unit": "U-1", **ends[ended]})
    ready.say(inspected("U-1", 95, hardness="60", roughness="40"))
    ready.say(withdrawn(over.addresses[0]))
    held_as_unfounded(ready)


def test_a_ball_that_turns_out_to_be_of_another_lot_is_held(ready: Floor) -> None:
    """The sample that its release rests on was of other pieces."""
    ready.say(SPLIT)
    unhardened(ready, sampled())
    first(ready)
    (engraving,) = [one.fact for one in ready.book.ball("U-1").history if one.kind == "ball-engraved"]
    ready.say(corrected({"fact": engraving, "replacement": engraved("U-1", "P-1", lot="SL-2")}))
    held_as_unfounded(ready)


def test_a_ball_that_turns_out_to_be_of_another_class_is_held(ready: Floor) -> None:
    """Limits go by it; the hold is lifted where the ball meets those of its own class too."""
    entered = ready.ball("U-1", "P-1")
    first(ready)
    ready.say(corrected({"fact": entered.addresses[0], "replacement": engraved("U-1", "P-1", weight_class=14)}))
    ((hold, reason),) = open_holds(ready)
    assert "release-unfounded" == reason
    assert ready.book.judged("U-1")[0].released_as == "conforms"
    ready.say(lifted(hold))
    assert [] == open_holds(ready)


def test_a_rework_that_turns_out_to_be_a_deeper_one_is_held(ready: Floor) -> None:
    """What the sample covered for it can have changed, though no reading did."""
    unhardened(ready, sampled(quantity="mass"), inspect=[
        {"quantity": "mass", "every": "sample", "n": 3, "accept": 0, "reject": 1},
    ])  # fmt: skip
    ready.say(inspected("U-1", 71.5, hardness="74"))
    weighed = next(one.fact for one in ready.book.ball("U-1").history if one.kind == "inspection")
    others = {"circumference": "26.85", "out_of_round": "0.004", "rg_low": "2.5", "rg_high": "2.54", "top_weight": "3"}
    ready.say(corrected({"fact": weighed, "replacement": inspected("U-1", 71, roughness="40", **others)}))
    rework = {"kind": "rework", "at": at(69), "unit": "U-1", "operation": "polish", "station": "R-1"}
    reworked = ready.say(rework)
    first(ready)
    ready.say(corrected({"fact": reworked.addresses[0], "replacement": {**rework, "operation": "re-turn"}}))
    held_as_unfounded(ready)


def test_a_hold_that_is_not_there_yet_is_not_lifted(ready: Floor) -> None:
    """Neither in the submission of the correction that opens it, nor by its name alone while that waits."""
    entered = ready.ball("U-1", "P-1")
    first(ready)
    wrong = record(corrected({"fact": entered.addresses[1], "replacement": inspected("U-1", 71, hardness="60")}))
    hold = f"B{ready.book.standing().entries}.0.0"
    for records in ((wrong, record(lifted(hold))), (record(lifted(hold)),)):
        error = refused(ready, *records)
        assert (UnknownSubject, f"records[{len(records) - 1}]") == (type(error), error.where)
    conceded = {"kind": "concession", "at": at(220), "node": "unit:U-1", "holds": [hold], "reason": "as-it-is"}
    assert "records[1]" == refused(ready, wrong, record(conceded)).where


def test_nothing_is_withdrawn_beside_a_corrected_first_release(ready: Floor) -> None:
    """It would be judged with what goes in the same moment: here the calibration without which its reading is unusable."""
    ready.ball("U-1", "P-1", hours=70)
    again = ready.say(calibrated("roughness", hours=69))
    entered = ready.book.release(["U-1"], "second", "second", ready.lead).result(30)
    (best,) = release_records(ready.book.store, Wanted(["U-1"], "second"), ready.now_ms, OFFICE)
    assert isinstance(best, Release)
    better = msgspec.to_builtins(msgspec.structs.replace(best, grade="first"))
    changes = [{"fact": entered.addresses[0], "replacement": better}, {"fact": again.addresses[0]}]
    assert "records[0].changes[0].replacement" == refused(ready, record(corrected(*changes))).where
    say(ready, record(corrected(changes[0])))
    assert "first" == ready.book.ball("U-1").grade


@pytest.mark.parametrize("how", ["hold-lifted", "concession"])
@pytest.mark.parametrize("lot", ["SL-1", "SL-2"])
def test_balls_of_a_sample_taken_back_do_not_stay_first(ready: Floor, how: str, lot: str) -> None:
    """Nobody lifts the hold while a ball of the lot, or of one that was split off, is first quality on no ground."""
    unhardened(ready)
    judged = ready.say(sampled()).addresses[0]
    ready.say(SPLIT)
    ready.say(engraved("U-2", "P-2", lot=lot))
    ready.say(inspected("U-2", 72, mass="15.1", circumference="26.85", out_of_round="0.004", roughness="40",
                        rg_low="2.5", rg_high="2.54", top_weight="3"))  # fmt: skip
    first(ready, "U-2")
    fixed = ready.say(withdrawn(judged))
    ((hold, reason),) = open_holds(ready, "U-2")
    assert (f"B{fixed.addresses[0]}.0", "sample-taken-back") == (hold, reason)
    lift = lifted(hold) if how == "hold-lifted" else {
        "kind": how, "at": at(220), "node": "lot:SL-1", "holds": [hold], "reason": "as-it-is"
    }  # fmt: skip
    error = refused(ready, record(lift))
    assert (RuleStands, "records[0]", True) == (type(error), error.where, "U-2" in str(error))
    ready.say(inspected("U-2", 215, hardness="74"))
    ready.say(lift)
    assert [] == open_holds(ready, "U-2")


def test_a_sample_rejected_after_one_that_was_accepted_holds_the_lot(ready: Floor) -> None:
    """Balls may be first quality on the earlier one: each is measured, or takes another grade, before the hold is lifted."""
    unhardened(ready, sampled())
    first(ready)
    ready.say(sampled(accepted=False, at=at(90)))
    ((hold, reason),) = open_holds(ready)
    assert "sample-rejected" == reason
    assert "U-1" in str(refused(ready, record(lifted(hold))))
    ready.say({"kind": "regrade", "at": at(91), "unit": "U-1", "grade": "second", "reason": "sample"})
    ready.say(lifted(hold))
    assert [] == open_holds(ready)


def test_balls_of_a_type_test_taken_back_do_not_stay_first(ready: Floor) -> None:
    """As with a sample: each is measured, or takes another grade, before the hold on its lot is lifted."""
    unhardened(ready, inspect=MODEL)
    judged = ready.say(model_tested()).addresses[0]
    first(ready)
    ready.say(withdrawn(judged))
    ((hold, reason),) = open_holds(ready)
    assert "type-test-taken-back" == reason
    assert "U-1" in str(refused(ready, record(lifted(hold))))
    ready.say(inspected("U-1", 215, hardness="74"))
    ready.say(lifted(hold))
    assert [] == open_holds(ready)


def test_a_first_rejected_sample_holds_nothing(ready: Floor) -> None:
    """Nothing was let out on another: the lot is screened ball by ball."""
    unhardened(ready, sampled(accepted=False))
    assert [] == open_holds(ready)
    ready.say(inspected("U-1", 80, hardness="74"))
    assert release(ready)


def test_a_lot_that_turns_out_to_be_of_another_revision_is_held(ready: Floor) -> None:
    """Its type tests were of another construction, and so was its approval."""
    ready.ball("U-1", "P-1")
    first(ready)
    (poured,) = [one.fact for one in ready.book.lot("SL-1").history if one.kind == "shells-poured"]
    ready.say(corrected({"fact": poured, "replacement": shells("SL-1", 40, ("CL-1", 40), revision=2)}))
    assert "release-unfounded" in [reason for _, reason in open_holds(ready)]


def test_a_plan_that_is_said_late_frees_no_failing_ball(ready: Floor) -> None:
    """Neither one that names no rulebook from before the ball was engraved on, nor a correction of the one that stood."""
    ready.ball("U-1", "P-1", readings={"hardness": "60"})
    stood = ready.book.models()[0].plan
    for said in (
        plan("M1", at=at(60), rulebooks=[]),
        corrected({"fact": stood, "replacement": plan("M1", rulebooks=[])}),
        corrected({"fact": stood, "replacement": plan("M1", at=at(80))}),
    ):
        assert "usbc-2026" in refused(ready, record(said)).problem
    with pytest.raises(RuleStands, match="hardness"):
        first(ready)
