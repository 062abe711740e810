"""Ancestors of a lot, and the holds that reach a ball from anywhere above."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import RuleStands
from ledger.line.holds import HoldPlaced
from ledger.line.lineage import HoldRule, ancestors, lineage_needs
from ledger.line.state import State
from tests.line.making import (
    at,
    blocks,
    cores,
    engrave,
    inspection,
    ready_plant,
    release,
    sample,
    shells,
    stocked_plant,
)
from tests.line.plant import Plant


def hold(**fields: Any) -> HoldPlaced:
    """A hold on release and shipment, on day 10."""
    return HoldPlaced(**{"at": at(10), "hold": "H-1", "reason": "void", **fields})


def _ready_ball(plant: Plant) -> None:
    engrave(plant, "U-1")
    plant.submit(inspection("U-1"), sample())


def test_ancestors_reach_the_drums() -> None:
    """Nearest first, each once."""
    plant, state = stocked_plant(), State()
    plant._load(state, lambda: lineage_needs(["SL-1"], state))
    found = ancestors(state, "SL-1")
    assert ["SL-1", "CL-1", "MIX-R"] == found[:3]
    assert {"BL-1", "MIX-B", "MIX-C", "RESIN", "FILLER"} == set(found[3:])


@pytest.mark.parametrize("node", ["unit:U-1", "lot:SL-1", "lot:CL-1", "lot:MIX-B", "lot:FILLER"])
def test_a_hold_anywhere_above_stops_the_release(node: str) -> None:
    """The ball, its lot, and everything that the lot is made of."""
    plant = stocked_plant()
    _ready_ball(plant)
    plant.submit(hold(node=node))
    refusal = plant.refused(release(plant, "U-1"))
    assert (RuleStands, "unit") == (type(refusal), refusal.where)
    assert "H-1" in refusal.mend


@pytest.mark.parametrize(
    ("rule", "stops"),
    [
        (HoldRule(model="ORBIT", stage="shell"), True),
        (HoldRule(model="COMET"), False),
        (HoldRule(stage="core", began_from=at(5, "08:00"), began_to=at(5, "08:00")), True),
        (HoldRule(stage="core", began_from=at(5, "08:01")), False),
        (HoldRule(stage="core", began_to=at(5, "07:59")), False),
        (HoldRule(serial_prefix="2"), None),
        (HoldRule(serial_prefix="!"), False),
        (HoldRule(), True),
    ],
)
def test_a_hold_by_rule_stops_what_it_describes(rule: HoldRule, stops: bool | None) -> None:  # noqa: FBT001  # a table of cases
    """Every condition named must fit one lot of the lineage, and a serial prefix the ball."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    plant.submit(inspection("U-1"), sample())
    if stops is None:
        from ledger.line.rows import Unit  # noqa: PLC0415  # used by this case alone

        rule, stops = HoldRule(serial_prefix=plant.row(Unit, "U-1").serial[:3]), True
    plant.submit(hold(rule=rule))
    if stops:
        assert "H-1" in str(plant.refused(release(plant, "U-1")))
    else:
        assert [] == plant.submit(release(plant, "U-1")).codes


def test_recorded_positions_clear_a_ball_of_the_lots_that_it_did_not_take() -> None:
    """A hold on one of two core lots stops the balls of its positions, and one whose place was not recorded."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", 20))
    plant.submit(cores("CL-1", ("BL-1", 10)), cores("CL-2", ("BL-1", 10)))
    plant.submit(shells("SL-1", ("CL-1", 10, 1, 10), ("CL-2", 10, 11, 20)))
    for unit, fields in (("U-1", {"place": 3}), ("U-2", {"place": 13}), ("U-3", {})):
        engrave(plant, unit, **fields)
        plant.submit(inspection(unit))
    plant.submit(sample(), hold(node="lot:CL-2"))
    plant.submit(release(plant, "U-1"))
    assert [RuleStands, RuleStands] == [type(plant.refused(release(plant, unit))) for unit in ("U-2", "U-3")]
