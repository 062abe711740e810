"""A release is judged first, and rests on what the verdicts were drawn from."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.application.releasing import Wanted, release_records
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.errors import Forbidden, KeyReused, RuleStands, UnknownSubject
from ledger.line.inspections import readings_digest
from ledger.line.reading_rows import Measured
from ledger.line.releases import Grade, Release
from ledger.line.submission import Submission
from ledger.store.reader import open_reader
from tests.application.floor import (
    OFFICE,
    Floor,
    approval,
    at,
    calibrated,
    engraved,
    inspected,
    model,
    plan,
    shells,
)  # fmt: skip


def release(floor: Floor, grade: Grade, *units: str, key: str = "release") -> Any:
    """Release balls in the lead's name; the entry."""
    return floor.book.release(units, grade, key, floor.lead).result(30)


def test_a_good_ball_is_first_quality(ready: Floor) -> None:
    """The release states grade, plan in force at engraving, and how each rulebook judged."""
    ready.ball("U-1", "P-1")
    entered = release(ready, "first", "U-1")
    (said,) = ready.book.entry(entered.index).entry["said"]["records"]
    digest = shipped_rulebooks()["usbc-2026"].digest
    assert ("release", "U-1", "first", "2.1") == (said["kind"], said["unit"], said["grade"], said["plan"])
    assert [{"rulebook": "usbc-2026", "digest": digest, "outcome": "conforms"}] == said["bases"]


def test_a_release_rests_on_the_readings_that_stand(ready: Floor) -> None:
    """Its digest is that of the ball's readings, and changes with a new one."""
    ready.ball("U-1", "P-1")
    (before,) = release_records(ready.book.store, Wanted(["U-1"], "first"), ready.now_ms, OFFICE)
    ready.say(inspected("U-1", 80, mass="15.2"))
    (after,) = release_records(ready.book.store, Wanted(["U-1"], "first"), ready.now_ms, OFFICE)
    with open_reader(ready.book.store) as reader:
        digest = readings_digest(reader.one(Measured, "U-1"))
    assert isinstance(before, Release)
    assert isinstance(after, Release)
    assert (digest, True) == (after.readings, before.readings != digest)


def test_a_reading_between_judging_and_release_stops_it(ready: Floor) -> None:
    """What was judged before a reading came is refused after it: the verdicts rest on what no longer stands."""
    ready.ball("U-1", "P-1")
    judged = release_records(ready.book.store, Wanted(["U-1"], "first"), ready.now_ms, OFFICE)
    ready.say(inspected("U-1", 80, hardness="60"))
    with pytest.raises(RuleStands, match="readings changed") as caught:
        ready.book.submit(Submission(key="late", records=judged), ready.lead).result(30)
    assert "records[0].readings" == caught.value.where


def test_a_ball_past_a_limit_is_not_first(ready: Floor) -> None:
    """The refusal names ball, rulebook, quantity, limit and value, and says what may be done."""
    ready.ball("U-1", "P-1", readings={"hardness": "71.5"})
    with pytest.raises(RuleStands) as caught:
        release(ready, "first", "U-1")
    assert ("P-1 cannot be first quality under usbc-2026: hardness", ">= 73 Shore D", "71.5", "units[0]") == (
        caught.value.problem, caught.value.expected, caught.value.got, caught.value.where,
    )  # fmt: skip
    assert "no concession changes a limit" in caught.value.mend
    release(ready, "second", "U-1")
    assert ("released", "second") == (ready.book.ball("U-1").state, ready.book.ball("U-1").grade)


def test_an_unmeasured_ball_is_not_first(ready: Floor) -> None:
    """What was not measured cannot conform: measure it."""
    ready.say(engraved("U-1", "P-1"), inspected("U-1", mass="15.1"))
    with pytest.raises(RuleStands) as caught:
        release(ready, "first", "U-1")
    assert ("not measured", True) == (caught.value.got, caught.value.mend.startswith("measure it"))


def test_a_reading_of_a_gauge_found_wrong_is_none(ready: Floor) -> None:
    """A ball whose hardness was read with a gauge that turned out to be wrong is not measured."""
    ready.ball("U-1", "P-1")
    ready.say(calibrated("hardness", 80, as_found_good=False))
    with pytest.raises(RuleStands, match="hardness"):
        release(ready, "first", "U-1")


def test_a_ball_of_an_unapproved_model_is_a_prototype(floor: Floor) -> None:
    """Without a body's approval a good ball is refused as first quality and released as prototype."""
    floor.stock()
    floor.say(model("M2", "09521234000013"), plan("M2"))
    floor.say({"kind": "cores-poured", "lot": "CL-1", "model": "M2", "line": "L-1", "mould_set": "MS-1",
               "mixer": "MX-1", "began_at": at(30), "at": at(30.25), "count": 40,
               "blocks": [{"lot": "BL-1", "count": 40}], "batches": [{"lot": "MIX", "kg": "5"}]})  # fmt: skip
    floor.say(shells("SL-1", 40, ("CL-1", 40), model="M2"))
    floor.say({"kind": "concession", "at": at(60), "node": "lot:CL-1", "reason": "trial",
               "holds": [hold.hold for hold in floor.book.lot("CL-1").holds]})  # fmt: skip
    floor.ball("U-1", "P-1")
    with pytest.raises(RuleStands, match="not approved"):
        release(floor, "first", "U-1")
    release(floor, "prototype", "U-1")
    assert "prototype" == floor.book.ball("U-1").grade
    floor.say(approval("M2", at=at(75)))
    floor.ball("U-2", "P-2", 76)
    release(floor, "first", "U-2", key="approved")
    assert "first" == floor.book.ball("U-2").grade


def test_all_or_none_are_released(ready: Floor) -> None:
    """One ball that may not be released keeps the others back, and its place is named."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-2", readings={"mass": "16.5"})
    with pytest.raises(RuleStands) as caught:
        release(ready, "first", "U-1", "U-2")
    assert ("units[1]", "engraved") == (caught.value.where, ready.book.ball("U-1").state)


def test_the_same_key_answers_with_the_same_entry(ready: Floor) -> None:
    """A repeated request is answered from the book, though the balls could not be released again."""
    ready.ball("U-1", "P-1")
    first = release(ready, "first", "U-1")
    ready.now_ms += 60_000
    again = release(ready, "first", "U-1")
    assert (first.index, False, True) == (again.index, first.repeated, again.repeated)
    with pytest.raises(RuleStands, match="cannot be released"):
        release(ready, "first", "U-1", key="another")
    with pytest.raises(KeyReused):
        release(ready, "second", "U-1")


def test_an_unknown_ball_is_named(ready: Floor) -> None:
    """A unit that is not in the book is refused with its place in the list."""
    ready.ball("U-1", "P-1")
    with pytest.raises(UnknownSubject) as caught:
        release(ready, "first", "U-1", "U-9")
    assert "units[1]" == caught.value.where


def test_a_model_without_a_plan_cannot_be_judged(floor: Floor) -> None:
    """A ball that was engraved before its model had a plan is not released."""
    floor.line()
    floor.say(engraved("U-1", "P-1", -1))
    with pytest.raises(RuleStands, match="no plan"):
        release(floor, "second", "U-1")


def test_a_rulebook_that_is_not_adopted_judges_nothing(ready: Floor) -> None:
    """A plan that names a rulebook which the plant did not adopt stands in the way of every release, and says so."""
    ready.say(plan("M1", at=at(60), rulebooks=["usbc-2026", "pba"]))
    ready.ball("U-1", "P-1")
    with pytest.raises(RuleStands, match="names rulebook pba") as caught:
        release(ready, "second", "U-1")
    assert "rulebook-adopted" in caught.value.mend


def test_who_may_not_release_is_told_so(ready: Floor) -> None:
    """A station releases nothing."""
    station, _ = ready.book.open_account("Station", ("station",))
    with pytest.raises(Forbidden):
        ready.book.release(["U-1"], "first", "release", station)
