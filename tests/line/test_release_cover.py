"""What a release counts as covered: by plan, accepted sample or type test, and never for what was measured."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.errors import RuleStands
from ledger.line.balls import UnitWorked
from ledger.line.lot_changes import LotsMerged, LotSplit, LotWorked, PartOfLot
from ledger.line.process_plan import Inspect
from ledger.line.releases import Basis, Release, Rework
from ledger.line.rows import Unit
from tests.line.making import (
    RULEBOOK,
    at,
    engrave,
    inspection,
    plan,
    reading,
    release,
    sample,
    stocked_plant,
    type_test,
)
from tests.line.plant import Plant
from tests.line.test_samples import covered

BY_MODEL = (Inspect(quantity="mass", every="unit"), Inspect(quantity="hardness", every="model", n=3))


def weighed(*judged: Any, inspect: tuple[Inspect, ...] = ()) -> tuple[Plant, str]:
    """A ball that was weighed alone, with what was judged of its lot or model; and the plan in force."""
    plant = stocked_plant()
    address = "0.1"
    if inspect:
        address = plant.submit(plan(inspect=inspect, at=at(2))).address
    engrave(plant, "U-1")
    plant.submit(inspection("U-1"), *judged)
    return plant, address


def said(plant: Plant, address: str, *covered: str, **fields: Any) -> Release:
    """A release at first quality that counts quantities as covered."""
    basis = Basis(rulebook="body-a", digest=RULEBOOK, outcome="conforms", covered=covered)
    return release(plant, "U-1", bases=(basis,), plan=address, **fields)


def test_a_sample_or_a_type_test_covers() -> None:
    """As the plan has it inspected."""
    for plant, address in (weighed(sample()), weighed(type_test(), inspect=BY_MODEL)):
        plant.submit(said(plant, address, "hardness"))
        assert "first" == plant.row(Unit, "U-1").grade


@pytest.mark.parametrize(
    ("judged", "inspect", "quantity", "problem"),
    [
        ((sample(),), (), "mass", "inspected by no sample"),
        ((sample(),), (), "roughness", "inspected by no sample"),
        ((), (), "hardness", "for hardness is not judged"),
        ((inspection("U-1", reading("hardness", "76")), sample()), (), "hardness", "measured for it itself"),
        ((inspection("U-1", reading("hardness", "76")), sample(accepted=False, nonconforming=1)), (), "hardness", "measured for it"),
        ((sample(),), BY_MODEL, "hardness", "no test of ORBIT revision 1 is judged"),
        ((type_test(accepted=False, nonconforming=1),), BY_MODEL, "hardness", "was not accepted"),
    ],
)  # fmt: skip
def test_nothing_else_does(judged: tuple[Any, ...], inspect: tuple[Inspect, ...], quantity: str, problem: str) -> None:
    """What is asked of every ball, what was not judged or not accepted, and what was measured, however it came out."""
    plant, address = weighed(*judged, inspect=inspect)
    error = plant.refused(said(plant, address, quantity))
    assert isinstance(error, RuleStands)
    assert problem in str(error)


def test_a_rejected_sample_covers_no_grade() -> None:
    """Not even where nothing is inspected: a prototype says what is so."""
    plant, address = weighed(sample(accepted=False, nonconforming=1))
    error = plant.refused(said(plant, address, "hardness", grade="prototype"))
    assert ("bases[0].covered", True) == (error.where, "was not accepted" in str(error))


def test_a_reworked_ball_no_longer_stands_for_its_lot() -> None:
    """Polishing can have changed its hardness: the sample says nothing of it any more."""
    plant, address = weighed(sample())
    plant.submit(Rework(at=at(11), unit="U-1", operation="polish", station="R-1"))
    error = plant.refused(said(plant, address, "hardness", at=at(12), grade="prototype"))
    assert "reworked" in str(error.got)


def worked(step: str, **fields: Any) -> LotWorked:
    """SL-1 is worked on day 11."""
    return LotWorked(**{"at": at(11), "began_at": at(11), "lot": "SL-1", "step": step, "station": "W-1", **fields})


@pytest.mark.parametrize(
    ("steps", "covers"),
    [
        ((worked("polished"),), False),
        ((worked("sanded"),), False),
        ((worked("cleaned"),), True),
        ((worked("polished", at=at(9), began_at=at(9)),), True),
        ((worked("polished"), sample(at=at(12))), True),
    ],
)
def test_a_sample_is_of_the_pieces_as_they_were(steps: tuple[Any, ...], covers: bool) -> None:  # noqa: FBT001  # drawn by name
    """Finishing the lot afterwards takes its cover away until another is judged; what changes nothing measured does not."""
    plant, address = weighed(sample())
    for step in steps:
        plant.submit(step)
    plant.submit(inspection("U-1", at=at(13)))
    if covers:
        plant.submit(said(plant, address, "hardness", at=at(13)))
    else:
        error = plant.refused(said(plant, address, "hardness", at=at(13)))
        assert "was worked after its sample" in str(error)


def test_work_on_the_lot_that_was_left_is_no_matter_for_what_left_it() -> None:
    """Of the part only its own work counts; of a merged lot that of each source before it was merged."""
    plant, _ = weighed(sample())
    plant.submit(LotSplit(at=at(11), lot="SL-1", into="SL-2", count=4))
    plant.submit(worked("polished", at=at(12), began_at=at(12)))
    assert "not worked since" == _standing_of(plant, "SL-2")
    assert "worked since" == _standing_of(plant, "SL-1")
    parts = (PartOfLot(lot="SL-1", count=2), PartOfLot(lot="SL-2", count=2))
    plant.submit(LotsMerged(at=at(13), lots=parts, into="SL-3"))
    assert "worked since" == _standing_of(plant, "SL-3")
    plant.submit(worked("sanded", lot="SL-2", at=at(14), began_at=at(14)))
    assert "worked since" == _standing_of(plant, "SL-2")


def _standing_of(plant: Plant, lot: str) -> str:
    return "worked since" if covered(plant, lot).outdated else "not worked since"


def test_a_ball_finished_by_itself_after_the_sample_stands_alone() -> None:
    """Its surface is no longer the one that the sample showed; a sample judged after that shows it."""
    plant, address = weighed(sample())
    plant.submit(UnitWorked(at=at(11), unit="U-1", step="polished", station="P-1"))
    assert "is not measured" in str(plant.refused(said(plant, address, "hardness", at=at(13))))
    prototype = said(plant, address, "hardness", at=at(13), grade="prototype")
    assert "worked after the sample was judged" == plant.refused(prototype).got
    plant.submit(sample(at=at(12)))
    plant.submit(said(plant, address, "hardness", at=at(13)))


def test_a_type_test_stands_for_balls_finished_each_by_itself() -> None:
    """The balls that were tested were finished in their making too; one that was reworked is another."""
    plant, address = weighed(type_test(), inspect=BY_MODEL)
    plant.submit(UnitWorked(at=at(11), unit="U-1", step="polished", station="P-1"))
    plant.submit(said(plant, address, "hardness", at=at(12)))


FIVE = (
    Inspect(quantity="mass", every="unit"),
    Inspect(quantity="hardness", every="sample", n=5, accept=0, reject=1),
)


@pytest.mark.parametrize(
    ("judged", "inspect", "problem"),
    [
        (sample(), FIVE, "3 were looked at, and the plan asks for 5"),
        (sample(n=8, nonconforming=1, at=at(1)), FIVE, "1 did not conform, and the plan accepts 0"),
        (type_test(n=2, at=at(2)), BY_MODEL, "2 were looked at, and the plan asks for 3"),
    ],
)
def test_what_was_judged_by_another_plan_is_held_against_the_balls_own(
    judged: Any, inspect: tuple[Inspect, ...], problem: str
) -> None:
    """A sample or test that was enough for the plan of its day may be too small, or have failed, by that of the ball."""
    plant = stocked_plant()
    plant.submit(plan(inspect=(inspect[0], msgspec.structs.replace(inspect[1], n=2, accept=1, reject=2)), at=at(1)))
    plant.submit(judged)
    address = plant.submit(plan(inspect=inspect, at=at(3))).address
    engrave(plant, "U-1")
    plant.submit(inspection("U-1"))
    for grade in ("first", "second"):
        assert problem in str(plant.refused(said(plant, address, "hardness", grade=grade)))
