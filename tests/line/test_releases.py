"""Release, and what ends one: rework, regrade, scrap."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.balls import UnitStarted
from ledger.line.corrections import Change, Correction
from ledger.line.gauges import GaugeFaulted
from ledger.line.holds import HoldLifted
from ledger.line.models import RulebookAdopted
from ledger.line.process_plan import Inspect
from ledger.line.record import Record
from ledger.line.releases import Basis, Regrade, Rework, Scrap
from ledger.line.rows import Unit
from tests.line.making import (
    RULEBOOK,
    approval,
    at,
    blocks,
    cores,
    engrave,
    inspection,
    plan,
    reading,
    ready_plant,
    release,
    released_ball,
    sample,
    shells,
    stocked_plant,
)
from tests.line.plant import Plant


def measured(**fields: Any) -> Plant:
    """A plant with one ball engraved, weighed, and its lot's sample accepted."""
    plant = stocked_plant()
    engrave(plant, "U-1", **fields)
    plant.submit(inspection("U-1"), sample())
    return plant


def basis(outcome: Any = "conforms", digest: str = RULEBOOK, rulebook: str = "body-a") -> tuple[Basis, ...]:
    """One verdict that a release rests on."""
    return (Basis(rulebook=rulebook, digest=digest, outcome=outcome),)


def rework(operation: Any = "polish", **fields: Any) -> Rework:
    """U-1 worked again on day 12."""
    return Rework(**{"at": at(12), "unit": "U-1", "operation": operation, "station": "POLISH-1", **fields})


def scrap(how: Any = "scrap") -> Scrap:
    """U-1 ends on day 13."""
    return Scrap(at=at(13), unit="U-1", how=how, reason="void")


def test_a_ball_is_released_on_what_stands() -> None:
    """Readings, plan and edition are those at the head."""
    plant = measured()
    entered = plant.submit(release(plant, "U-1"))
    unit = plant.row(Unit, "U-1")
    assert ("released", "first", entered.address) == (unit.state, unit.grade, unit.release)


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"readings": "e" * 64}, "readings"),
        ({"plan": "9.0"}, "plan"),
        ({"bases": ()}, "bases"),
        ({"bases": basis(rulebook="body-b")}, "bases"),
        ({"bases": basis(digest="e" * 64)}, "bases[0].digest"),
        ({"bases": basis("does_not_conform")}, "bases[0].outcome"),
        ({"bases": basis("undecided")}, "bases[0].outcome"),
        ({"bases": basis("not_measured")}, "bases[0].outcome"),
    ],
)
def test_a_release_on_other_grounds_is_refused(fields: dict[str, Any], where: str) -> None:
    """What it rests on must be current, and first quality conforms."""
    plant = measured()
    refusal = plant.refused(release(plant, "U-1", **fields))
    assert (RuleStands, where) == (type(refusal), refusal.where)


def test_a_ball_barred_from_some_events_is_first_quality() -> None:
    """A bar keeps it out of those events, and does not stop its release."""
    plant = measured()
    plant.submit(release(plant, "U-1", bases=basis("barred")))
    assert ("released", "first") == (plant.row(Unit, "U-1").state, plant.row(Unit, "U-1").grade)


def test_a_superseded_edition_is_no_ground() -> None:
    """A verdict by yesterday's rulebook is drawn again."""
    plant = measured()
    plant.submit(RulebookAdopted(at=at(10), rulebook="body-a", digest="c" * 64))
    refusal = plant.refused(release(plant, "U-1"))
    assert ("bases[0].digest", "c" * 64) == (refusal.where, refusal.expected)


def test_a_reading_taken_since_the_verdict_is_in_the_way() -> None:
    """Judge again, then release."""
    plant = measured()
    judged = release(plant, "U-1")
    plant.submit(inspection("U-1", reading(value="15.3"), at=at(10, "12:00")))
    assert "readings" == plant.refused(judged).where
    assert [] == plant.submit(release(plant, "U-1")).codes


def test_the_plan_in_force_when_the_ball_was_engraved_judges() -> None:
    """A plan from day 10 on does not judge a ball engraved on day 9."""
    plant = measured()
    plant.submit(plan(at=at(10), inspect=(Inspect(quantity="circumference", every="unit"),)))
    assert [] == plant.submit(release(plant, "U-1")).codes


def test_a_model_without_a_plan_is_not_released() -> None:
    """A plan that was withdrawn before anything was begun is none."""
    plant = ready_plant()
    plant.submit(Correction(at=at(2), reason="wrong-model", changes=(Change(fact="0.1"),)))
    plant.submit(blocks("BL-1"))
    plant.submit(cores("CL-1", ("BL-1", 20)))
    plant.submit(shells("SL-1", ("CL-1", 20)))
    engrave(plant, "U-1", at=at(9))
    refusal = plant.refused(release(plant, "U-1"))
    assert (RuleStands, "plan") == (type(refusal), refusal.where)


def test_what_the_plan_asks_of_every_ball_is_measured() -> None:
    """No reading, or one that may not be used: no release."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    plant.submit(sample())
    assert "mass is not measured" in str(plant.refused(release(plant, "U-1")))
    plant.submit(inspection("U-1"))
    plant.submit(GaugeFaulted(at=at(12), gauge="G-MASS", reason="dropped"))
    assert "found wrong afterwards" in str(plant.refused(release(plant, "U-1")))


def test_a_sample_must_be_judged_and_a_rejected_lot_screened() -> None:
    """Not judged: refused. Rejected: this ball needs a usable reading of its own. Accepted again: it does not."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    plant.submit(inspection("U-1"))
    assert "not judged" in str(plant.refused(release(plant, "U-1")))
    plant.submit(sample(nonconforming=1, accepted=False))
    assert "hardness is not measured" in str(plant.refused(release(plant, "U-1")))
    plant.submit(inspection("U-1", reading("hardness", "76"), at=at(201)))
    assert "past its due date" in str(plant.refused(release(plant, "U-1")))
    plant.submit(
        inspection("U-1", reading("hardness", "76"), at=at(199)),
        inspection("U-1", reading("hardness", "76"), at=at(201)),
    )
    assert "past its due date" in str(plant.refused(release(plant, "U-1")))
    plant.submit(sample(at=at(202)))
    assert [] == plant.submit(release(plant, "U-1")).codes


def test_the_last_judgement_of_a_sample_counts() -> None:
    """By address as numbers: the judgement at 10.0 comes after the one at 9.0."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    plant.submit(inspection("U-1", reading()))
    while len(plant.entries) % 10 < 9:
        plant.submit(sample())
    plant.submit(sample())
    plant.submit(sample(nonconforming=1, accepted=False))
    assert 0 == (len(plant.entries) - 1) % 10
    plant.submit(HoldLifted(at=at(11), hold=f"B{len(plant.entries) - 1}.0.0", reason="screened"))
    assert "hardness is not measured" in str(plant.refused(release(plant, "U-1")))


@pytest.mark.parametrize(
    ("answers", "got"),
    [
        ((approval(status="revoked", from_on="2026-01-09"),), "revoked"),
        ((approval(from_on="2026-01-02", to_on="2026-01-08"),), "until 2026-01-08"),
        ((approval(from_on="2026-01-02", revision=2),), "revision 2"),
        ((approval(from_on="2026-01-02", classes=(14, 16)),), "classes 14,16"),
        ((approval(from_on="2026-01-02", first_serial="ZZZ"),), "serials ZZZ.."),
        ((approval(from_on="2026-01-02", last_serial="1"),), "serials ..1"),
        ((approval(body="body-b", status="refused", from_on="2026-01-05"),), None),
        ((approval(status="revoked", from_on="2026-01-10"),), None),
        ((approval(status="revoked", from_on="2026-01-02"), approval(from_on="2026-01-09")), None),
    ],
)
def test_an_unapproved_ball_is_released_only_as_prototype(answers: tuple[Record, ...], got: str | None) -> None:
    """By the latest answer of each body on the day of engraving: status, dates, revision, class and serials."""
    plant = measured()
    plant.submit(*answers)
    if got is None:
        assert [] == plant.submit(release(plant, "U-1")).codes
        return
    for grade in ("first", "second", "house", "demo"):
        refusal = plant.refused(release(plant, "U-1", grade=grade))
        assert "grade" == refusal.where
        assert got in str(refusal.got)
    assert [] == plant.submit(release(plant, "U-1", grade="prototype")).codes


def test_a_ball_that_fails_a_limit_is_released_at_a_lower_grade_only() -> None:
    """Second quality may; no concession and no regrade makes it first."""
    plant = measured()
    assert "bases[0].outcome" == plant.refused(release(plant, "U-1", bases=basis("does_not_conform"))).where
    plant.submit(release(plant, "U-1", grade="second", bases=basis("does_not_conform")))
    assert "second" == plant.row(Unit, "U-1").grade


@pytest.mark.parametrize(
    "record", [rework(unit="U-9"), scrap(), Regrade(at=at(12), unit="U-9", grade="second", reason="scratch")]
)
def test_an_unknown_ball_is_refused(record: Record) -> None:
    """Every kind that names a unit knows it."""
    refusal = stocked_plant().refused(record)
    assert (UnknownSubject, "unit") == (type(refusal), refusal.where)


def test_a_ball_not_engraved_or_gone_is_not_released() -> None:
    """Made, shipped and scrapped ones are refused."""
    plant = measured()
    plant.submit(UnitStarted(at=at(9), unit="U-2", lot="SL-1", station="TURN-1"))
    assert ("unit", "made") == (plant.refused(release(plant, "U-2")).where, plant.refused(release(plant, "U-2")).got)
    plant.submit(scrap())
    assert "scrapped" == plant.refused(release(plant, "U-1")).got


def test_rework_ends_a_release_and_what_it_changed_is_read_again() -> None:
    """Re-turning voids the mass; the accepted sample no longer stands for this ball."""
    plant = stocked_plant()
    released_ball(plant)
    plant.submit(rework("re-turn"))
    assert ("reworked", None, None) == (
        plant.row(Unit, "U-1").state,
        plant.row(Unit, "U-1").grade,
        plant.row(Unit, "U-1").release,
    )
    assert "mass is not measured" in str(plant.refused(release(plant, "U-1")))
    plant.submit(inspection("U-1", at=at(13)))
    assert "hardness is not measured" in str(plant.refused(release(plant, "U-1")))
    plant.submit(inspection("U-1", reading("hardness", "77"), at=at(13)))
    assert [] == plant.submit(release(plant, "U-1", at=at(14))).codes


def test_rework_of_a_ball_that_is_gone_is_a_breach() -> None:
    """It was done to some ball, so it is recorded."""
    plant = measured()
    plant.submit(scrap())
    assert ["rework-of-gone"] == plant.submit(rework()).codes


def test_a_regrade_lowers_the_grade_of_a_released_ball() -> None:
    """First to house; back up, or a ball not released, is refused."""
    plant = measured()
    lower = Regrade(at=at(12), unit="U-1", grade="house", reason="scratch")
    assert "grade" == plant.refused(lower).where
    plant.submit(release(plant, "U-1"))
    plant.submit(lower)
    assert ("released", "house") == (plant.row(Unit, "U-1").state, plant.row(Unit, "U-1").grade)
    assert RuleStands is type(plant.refused(Regrade(at=at(12), unit="U-1", grade="second", reason="better")))


@pytest.mark.parametrize(
    ("how", "state"), [("scrap", "scrapped"), ("destructive-test", "destroyed"), ("retained", "retained")]
)
def test_a_ball_ends_once(how: Any, state: str) -> None:
    """Scrapped, tested to destruction or retained; it is released no more, and not scrapped twice."""
    plant = stocked_plant()
    released_ball(plant)
    plant.submit(scrap(how))
    assert (state, None) == (plant.row(Unit, "U-1").state, plant.row(Unit, "U-1").release)
    if how != "retained":
        refusal = plant.refused(scrap())
        assert (Contradiction, "unit") == (type(refusal), refusal.where)


@pytest.mark.parametrize(
    ("operation", "finish"),
    [("polish", "polished"), ("resurface", "unstated"), ("re-turn", "unstated"), ("plug", None)],
)
def test_rework_tells_how_it_left_the_surface(operation: Any, finish: str | None) -> None:
    """Polishing says it; resurfacing and turning change it and do not say how; a plug leaves it alone."""
    plant = measured()
    plant.submit(Rework(at=at(12), unit="U-1", operation=operation, station="R-1"))
    assert finish == plant.row(Unit, "U-1").finish
