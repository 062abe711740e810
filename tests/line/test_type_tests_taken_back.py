"""A type test that a correction takes back holds the lots whose balls may have been released on it, and no others."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import RuleStands
from ledger.line import type_tests_taken_back
from ledger.line.holds import HoldPlaced
from ledger.line.lineage import HoldRule
from ledger.line.process_plan import Inspect
from ledger.line.rows import Hold, Unit
from ledger.line.shipments import Shipment
from tests.line.independent_fold import check_views
from tests.line.making import at, engrave, inspection, model, plan, release, shells, stocked_plant, type_test
from tests.line.plant import Plant
from tests.line.test_corrections import correction

BY_MODEL = (Inspect(quantity="mass", every="unit"), Inspect(quantity="hardness", every="model", n=3))
FAILED = type_test(accepted=False, nonconforming=1)


def plant_with_test() -> tuple[Plant, str]:
    """A ball of SL-1 was released on its mass and the type test of its model; the address of the test."""
    plant = stocked_plant()
    plant.submit(model(model="NOVA", gtin="09521234000020"), plan(model="NOVA", inspect=BY_MODEL))
    plan_set = plant.submit(plan(inspect=BY_MODEL, at=at(2))).address
    engrave(plant, "U-1")
    test = plant.submit(type_test()).address
    plant.submit(inspection("U-1"))
    plant.submit(release(plant, "U-1", plan=plan_set))
    return plant, test


def codes(plant: Plant, *changes: tuple[str, Any]) -> list[tuple[str, str]]:
    """What a correction finds, and on what."""
    return [(one.code, one.node) for one in plant.submit(correction(*changes)).breaches]


@pytest.mark.parametrize("instead", [None, FAILED, type_test(revision=1, quantity="hardness", model="NOVA")])
def test_a_type_test_that_is_taken_back_holds_the_lots_that_rest_on_it(instead: Any) -> None:
    """Withdrawn, no longer accepted, or of another model: the ball does not leave until that was looked into."""
    plant, test = plant_with_test()
    assert [("type-test-taken-back", "lot:SL-1")] == codes(plant, (test, instead))
    sent = Shipment(at=at(21), shipment="S-1", units=("U-1",), consignee="A shop", purpose="sale")
    assert "type-test-taken-back" in str(plant.refused(sent))
    check_views(plant)


def test_a_revision_that_moves_under_a_test_takes_it_back() -> None:
    """The test named no revision, and the model turns out to have stood at the second when it was made."""
    plant, _ = plant_with_test()
    assert [("type-test-taken-back", "lot:SL-1")] == codes(plant, ("0.0", model(revision=2)))
    check_views(plant)


def test_another_accepted_test_of_the_revision_stands_in() -> None:
    """The balls are covered still; once that one is taken back too, they are held."""
    plant, test = plant_with_test()
    second = plant.submit(type_test(at=at(12))).address
    assert [] == codes(plant, (test, None))
    assert [("type-test-taken-back", "lot:SL-1")] == codes(plant, (second, None))


def test_a_test_that_stays_accepted_holds_nothing() -> None:
    """Another count, the same answer; and nothing for a test that was rejected all along."""
    plant, test = plant_with_test()
    assert [] == codes(plant, (test, type_test(n=4)))
    rejected = plant.submit(type_test(at=at(12), accepted=False, nonconforming=1)).address
    assert [] == codes(plant, (rejected, None))


def test_lots_of_which_no_ball_was_begun_and_of_other_revisions_are_left_alone() -> None:
    """Nothing of them was released on it."""
    plant, test = plant_with_test()
    plant.submit(model(revision=2, at=at(3)))
    cores_left = {"at": at(7, "09:10"), "began_at": at(7, "09:00")}
    plant.submit(correction(("6.0", shells("SL-1", ("CL-1", 10)))))
    plant.submit(shells("SL-2", ("CL-1", 5), **cores_left), shells("SL-3", ("CL-1", 5), revision=2, **cores_left))
    engrave(plant, "U-3", lot="SL-3")
    assert [("type-test-taken-back", "lot:SL-1")] == codes(plant, (test, None))


def test_more_lots_than_an_entry_holds_are_held_by_rule_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """Such a correction is refused until the model is held; then the one hold stops them all."""
    monkeypatch.setattr(type_tests_taken_back, "MOST_LOTS", 0)
    plant, test = plant_with_test()
    error = plant.refused(correction((test, None)))
    assert (RuleStands, "changes", "hold-placed" in str(error.mend)) == (type(error), error.where, True)
    plant.submit(
        HoldPlaced(at=at(20), hold="H-1", reason="type-test", rule=HoldRule(model="ORBIT"), stops=("release",))
    )
    assert RuleStands is type(plant.refused(correction((test, None))))
    plant.submit(HoldPlaced(at=at(20), hold="H-2", reason="type-test", rule=HoldRule(model="ORBIT")))
    assert [] == codes(plant, (test, None))
    assert ("released", "first") == (plant.row(Unit, "U-1").state, plant.row(Unit, "U-1").grade)
    assert {"H-1", "H-2"} == {hold.hold for hold in plant.tables.rows[Hold].values() if isinstance(hold, Hold)}
