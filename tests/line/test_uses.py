"""What rests on a model, a plan or a gauge keeps it from being withdrawn."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction
from ledger.line.balls import UnitStarted
from ledger.line.gauges import GaugeCalibrated, GaugeRegistered
from ledger.line.inspections import Inspection
from ledger.line.lot_changes import LotWorked
from ledger.line.models import RulebookAdopted
from ledger.line.reading_rows import Gauge, GaugeStudy, Measured
from ledger.line.record import Record
from ledger.line.rows import Model, Plan
from ledger.line.uses import takes_away
from tests.line.independent_fold import check_views
from tests.line.making import (
    at,
    blocks,
    engrave,
    engraving,
    gauge,
    inspection,
    model,
    plan,
    reading,
    ready_plant,
    registered,
    shells,
    stocked_plant,
    studied,
)
from tests.line.plant import Plant
from tests.line.test_corrections import correction

MODEL, PLAN, APPROVAL = "0.0", "0.1", "0.3"
MASS, MASS_GOOD, HARD, HARD_GOOD = "1.0", "1.1", "1.2", "1.3"


def refused(plant: Plant, *changes: tuple[str, Record | None], place: int = 0) -> str:
    """Why a correction is refused that takes away what is used, by the change at ``place``."""
    refusal = plant.refused(correction(*changes))
    assert (Contradiction, f"changes[{place}]") == (type(refusal), refusal.where)
    return str(refusal)


def test_a_model_that_lots_are_of_is_not_withdrawn() -> None:
    """Not with all that was said of it, nor by naming another model in its place; the first lot is named."""
    plant = stocked_plant()
    assert "lot BL-1, made by fact 4.0" in refused(plant, (MODEL, None), (PLAN, None), (APPROVAL, None))
    assert "lot BL-1" in refused(plant, (MODEL, model(model="NOVA")), (PLAN, None), (APPROVAL, None))
    check_views(plant)


def test_a_model_of_nothing_is_withdrawn() -> None:
    """Or together with the lots that are of it."""
    plant = ready_plant()
    plant.submit(correction((MODEL, None), (PLAN, None), (APPROVAL, None)))
    assert plant.row(Model, "ORBIT") is None
    whole = stocked_plant()
    lots = [(f"{index}.0", None) for index in (4, 5, 6)]
    whole.submit(correction((MODEL, None), (PLAN, None), (APPROVAL, None), *lots))
    assert whole.row(Model, "ORBIT") is None
    check_views(whole)


def test_a_revision_that_shells_are_of_is_not_withdrawn() -> None:
    """The revision before it stands; so it goes only while no shell was poured to it. Replacing it is fine."""
    plant = stocked_plant()
    revised = plant.submit(model(at=at(6), revision=2)).address
    plant.submit(correction((revised, model(at=at(6), revision=2, name="Orbit II"))))
    shell = plant.submit(shells("SL-2", ("CL-1", 1), revision=2)).address
    assert f"lot SL-2, made by fact {shell}" in refused(plant, (revised, None))
    plant.submit(correction((revised, None), (shell, None)))
    assert 1 == plant.row(Model, "ORBIT").revision
    check_views(plant)


def test_a_plan_that_a_lot_was_begun_under_is_not_withdrawn() -> None:
    """Nor moved to another model; replaced it may be, and withdrawn where another stood over it all the time."""
    plant = stocked_plant()
    plant.submit(model(model="NOVA", gtin="09521234000020"))
    assert "lot BL-1, made by fact 4.0, was begun under it" in refused(plant, (PLAN, None))
    assert "lot BL-1" in refused(plant, (PLAN, plan(model="NOVA")))
    plant.submit(correction((PLAN, plan(windows=()))))
    plant.submit(plan())
    plant.submit(correction((PLAN, None)))
    assert plant.row(Plan, PLAN) is None
    check_views(plant)


@pytest.mark.parametrize(
    ("use", "said"),
    [
        (LotWorked(at=at(9), began_at=at(9), lot="SL-1", step="turned", station="TURN-1"), "lot SL-1 was turned under it"),
        (UnitStarted(at=at(9), unit="U-1", lot="SL-1", station="TURN-1"), "unit U-1 was begun under it"),
        (engraving("U-1", "OLD-1", scheme="prior"), "unit U-1 was begun under it"),
    ],
)  # fmt: skip
def test_a_plan_that_judged_the_end_of_a_lot_is_not_withdrawn(use: Record, said: str) -> None:
    """The lots were all begun before it; withdrawn before the use, it is gone."""
    plant = stocked_plant()
    later = plant.submit(plan(at=at(8))).address
    used = plant.submit(use).address
    assert said in refused(plant, (later, None))
    if not isinstance(use, LotWorked):
        plant.submit(correction((later, None), (used, None)))
        assert plant.row(Plan, later) is None
        check_views(plant)


def test_a_plan_not_reached_yet_is_withdrawn() -> None:
    """The ball was begun under one plan and engraved under the next; nothing is under the last."""
    plant = stocked_plant()
    plant.submit(UnitStarted(at=at(8), unit="U-1", lot="SL-1", station="TURN-1"))
    second, last = (plant.submit(plan(at=at(day))).address for day in (9, 20))
    engrave(plant, "U-1")
    plant.submit(correction((last, None)))
    assert "unit U-1 was engraved under it" in refused(plant, (second, None))
    check_views(plant)


@pytest.mark.parametrize(
    "fields",
    [{"rulebooks": ()}, {"rulebooks": ("body-b",)}, {"at": at(5), "rulebooks": ()}, {"at": at(5)}],
)
def test_a_plan_frees_nothing_from_its_rulebook_by_a_correction(fields: dict[str, Any]) -> None:
    """What was begun under it stays judged by each adopted rulebook that it named; others may be added."""
    plant = stocked_plant()
    assert "rulebook body-a of plan 0.1 of ORBIT would be gone" in refused(plant, (PLAN, plan(**fields)))
    plant.submit(correction((PLAN, plan(rulebooks=("body-a", "body-b")))))
    plant.submit(correction((PLAN, plan(rulebooks=("body-a",)))))
    check_views(plant)


def test_a_plan_of_which_nothing_was_begun_is_corrected_freely() -> None:
    """It judged nothing yet."""
    plant = ready_plant()
    plant.submit(correction((PLAN, plan(rulebooks=()))))
    check_views(plant)


def test_a_plan_is_not_moved_off_what_it_judged() -> None:
    """Neither later, where one before it without the rulebook takes over, nor earlier over one that names it."""
    plant = ready_plant()
    plant.submit(model(model="NOVA", gtin="09521234000020"), plan(model="NOVA", rulebooks=()))
    strict = plant.submit(plan(at=at(2), model="NOVA")).address
    plant.submit(blocks("BL-9", model="NOVA"))
    last = plant.submit(plan(at=at(20), model="NOVA", rulebooks=()), now=at(19)).address
    assert "rulebook body-a" in refused(plant, (strict, plan(at=at(19), model="NOVA")))
    assert "rulebook body-a" in refused(plant, (last, plan(at=at(3), model="NOVA", rulebooks=())))
    plant.submit(
        correction((strict, plan(at=at(2, "09:00"), model="NOVA")), (last, plan(at=at(21), model="NOVA", rulebooks=())))
    )
    check_views(plant)


def test_a_gauge_that_something_was_read_with_is_not_withdrawn() -> None:
    """Not with its calibrations, nor by another name; the first inspection is named, by whichever set it was used in."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    lot = plant.submit(Inspection(at=at(9), station="QC-1", lot="SL-1", readings=(reading("hardness", "76"),))).address
    both = plant.submit(inspection("U-1", reading(), reading("hardness", "76"))).address
    one = plant.submit(inspection("U-1")).address
    assert f"fact {both} read with it" in refused(plant, (MASS, None), (MASS_GOOD, None))
    other: tuple[GaugeRegistered, GaugeCalibrated] = gauge("G-2", "mass", "lb")
    assert f"fact {both} read with it" in refused(plant, (MASS, other[0]), (MASS_GOOD, other[1]))
    assert f"fact {lot} read with it" in refused(plant, (HARD_GOOD, None), (HARD, None), place=1)
    hardness = inspection("U-1", reading("hardness", "76"))
    plant.submit(correction((MASS, None), (MASS_GOOD, None), (both, hardness), (one, None)))
    assert plant.row(Gauge, "G-MASS") is None
    check_views(plant)


def test_a_unit_that_something_was_read_in_is_not_corrected_alone() -> None:
    """The readings said in it come along, each judged by the new one; without any, it is just put right."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    right = registered("G-MASS", "mass", "kg")
    read = plant.submit(inspection("U-1")).address
    assert f"lb as the unit of mass of gauge G-MASS would be gone, and fact {read} read with it" in refused(
        plant, (MASS, right)
    )
    again = inspection("U-1", reading(value="6.85", unit="kg"))
    assert "unit" in str(plant.refused(correction((MASS, right), (read, inspection("U-1")))).where)
    plant.submit(correction((MASS, right), (read, again)))
    assert ("kg", 6_850_000) == (plant.row(Gauge, "G-MASS").unit, plant.row(Measured, "U-1").mass)
    check_views(plant)
    unused = stocked_plant()
    assert [] == unused.submit(correction((MASS, right))).codes


def test_a_unit_that_a_study_was_made_in_is_not_corrected_alone() -> None:
    """Its scatter was measured in that unit."""
    plant = stocked_plant()
    study = plant.submit(studied()).address
    right = registered("G-MASS", "mass", "kg")
    assert f"fact {study} studied it" in refused(plant, (MASS, right))
    again = studied(unit="kg", readings=((("6.80", "6.85"), ("6.81", "6.86")), (("6.80", "6.85"), ("6.82", "6.87"))))
    plant.submit(correction((MASS, right), (study, again)))
    assert "kg" == plant.row(GaugeStudy, study).unit
    check_views(plant)


def test_a_use_that_was_withdrawn_before_is_none() -> None:
    """The set of gauges is known still, and nothing is found in it."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    read = plant.submit(inspection("U-1")).address
    plant.submit(correction((read, None)))
    plant.submit(correction((MASS, None), (MASS_GOOD, None)))
    assert plant.row(Gauge, "G-MASS") is None
    check_views(plant)


def test_a_use_that_a_correction_brought_counts() -> None:
    """The inspection was said with another gauge at first."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    read = plant.submit(inspection("U-1", reading("hardness", "76"))).address
    plant.submit(correction((read, inspection("U-1"))))
    assert f"fact {read} read with it" in refused(plant, (MASS, None), (MASS_GOOD, None))
    plant.submit(correction((HARD, None), (HARD_GOOD, None)))
    check_views(plant)


@pytest.mark.parametrize(
    ("old", "new", "away"),
    [
        (model(), None, True),
        (model(), model(revision=2), False),
        (model(), plan(), True),
        (plan(), plan(model="NOVA"), True),
        (plan(), plan(windows=()), False),
        (plan(), plan(rulebooks=("body-b", "body-a")), False),
        (plan(), plan(rulebooks=()), True),
        (plan(), plan(at=at(2)), True),
        (gauge("G-1", "mass", "lb")[0], registered("G-1", "mass", "lb", high="16"), False),
        (gauge("G-1", "mass", "lb")[0], registered("G-1", "mass", "kg"), True),
        (gauge("G-1", "mass", "lb")[0], registered("G-1", "top_weight", "lb"), True),
        (gauge("G-1", "mass", "lb")[0], gauge("G-2", "mass", "lb")[0], True),
        (gauge("G-1", "mass", "lb")[1], None, False),
        (RulebookAdopted(at=at(1), rulebook="body-a", digest="a" * 64), None, False),
    ],
)
def test_what_takes_a_fact_away(old: Record, new: Record | None, away: bool) -> None:  # noqa: FBT001  # a case
    """Nothing in its place, another model or gauge, or another unit of it; of other kinds nothing is taken away."""
    assert away == takes_away(old, new)
