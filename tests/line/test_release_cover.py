"""What a release counts as covered: by plan, accepted sample or type test, and never for what was measured."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import RuleStands
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
