"""ledger.line.release_grounds: which corrections put a released ball in doubt, and which do not."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.line.balls import BallEngraved
from ledger.line.holds import HoldLifted
from ledger.line.lot_changes import LotSplit
from ledger.line.releases import Regrade, Rework
from ledger.line.rows import Unit
from tests.line.independent_fold import check_views
from tests.line.making import allot, at, engraving, inspection, release, sample, stocked_plant
from tests.line.plant import Plant
from tests.line.test_corrections import correction


def released() -> tuple[Plant, str, BallEngraved]:
    """U-1 released as first quality, the fact that engraved it, and what that says."""
    plant = stocked_plant()
    engraved = engraving("U-1", allot(plant)[0])
    address = plant.submit(engraved).address
    plant.submit(inspection("U-1"), sample())
    plant.submit(release(plant, "U-1"))
    return plant, address, engraved


@pytest.mark.parametrize(
    ("fields", "codes"),
    [
        ({"weight_class": 14}, ["release-unfounded"]),
        ({"at": at(9, "10:00")}, ["release-unfounded"]),
        ({"station": "OTHER"}, []),
        ({"note": "typed anew"}, []),
    ],
)
def test_what_a_ball_is_judged_by_counts(fields: dict[str, Any], codes: list[str]) -> None:
    """Its class and its dates choose the limits; who engraved it chooses nothing."""
    plant, address, engraved = released()
    replaced = BallEngraved(**{name: getattr(engraved, name) for name in engraved.__struct_fields__} | fields)
    assert codes == plant.submit(correction((address, replaced))).codes
    check_views(plant)


def test_a_split_that_was_of_another_lot_doubts_the_balls_of_the_part() -> None:
    """Another count changes nothing that a release rests on; a part without a ball has none."""
    plant = stocked_plant()
    plant.submit(LotSplit(at=at(8), lot="SL-1", into="SL-9", count=4))
    split = LotSplit(at=at(8), lot="SL-1", into="SL-2", count=4)
    address = plant.submit(split).address
    other = LotSplit(at=at(8), lot="SL-9", into="SL-2", count=2)
    assert [] == plant.submit(correction((address, LotSplit(at=at(8), lot="SL-1", into="SL-2", count=3)))).codes
    plant.submit(engraving("U-1", allot(plant)[0], lot="SL-2"))
    entered = plant.submit(correction((address, other)))
    assert [("release-unfounded", "lot:SL-2")] == [(one.code, one.node) for one in entered.breaches]


def test_a_grade_given_back_is_held() -> None:
    """The release had been lowered: taking that back makes the ball first quality, and holds it."""
    plant, _, _ = released()
    lowered = plant.submit(Regrade(at=at(12), unit="U-1", grade="second", reason="soft")).address
    entered = plant.submit(correction((lowered, None)))
    assert ["release-unfounded"] == entered.codes
    assert ("released", "first") == (plant.row(Unit, "U-1").state, plant.row(Unit, "U-1").grade)
    plant.submit(HoldLifted(at=at(13), hold=f"B{entered.address}.0", reason="judged"))
    reworked = plant.submit(Rework(at=at(14), unit="U-1", operation="polish", station="R-1")).address
    assert ["release-unfounded"] == plant.submit(correction((reworked, None))).codes
