"""Holds placed and lifted, holds of breaches, concessions, and recalls that two people lift."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, MalformedRecord, RuleStands, UnknownSubject
from ledger.line.holds import Concession, HoldLifted, HoldPlaced
from ledger.line.lineage import HoldRule
from ledger.line.record import Record
from ledger.line.rows import Concession as ConcessionRow
from ledger.line.rows import Hold
from tests.line.making import at, blocks, ready_plant, stocked_plant
from tests.line.plant import Plant


def placed(hold: str = "H-1", **fields: Any) -> HoldPlaced:
    """A hold on BL-1, on day 4."""
    said = {"at": at(4), "hold": hold, "reason": "void"}
    return HoldPlaced(**{**said, **(fields if "rule" in fields else {"node": "lot:BL-1", **fields})})


def lifted(hold: str = "H-1") -> HoldLifted:
    """The hold lifted, on day 5."""
    return HoldLifted(at=at(5), hold=hold, reason="re-measured")


def conceded(*holds: str, node: str = "lot:BL-1") -> Concession:
    """A concession on day 5."""
    return Concession(at=at(5), node=node, holds=holds, reason="within-tolerance")


def held() -> Plant:
    """A plant whose block lot BL-1 was demoulded too soon, with hold H-1 on it besides."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", at=at(3, "08:05")))
    plant.submit(placed())
    return plant


def test_a_breach_opens_a_hold_of_its_own() -> None:
    """Its id is B, the fact's address and the number of the breach; it stops release and shipment."""
    plant = held()
    row = plant.row(Hold, "B4.0.0")
    assert ("lot:BL-1", "block-demould-short", "release,shipment", True) == (row.node, row.reason, row.stops, row.open)


def test_a_hold_stops_release_and_shipment_unless_it_says_more() -> None:
    """The default, and the four in order."""
    plant = held()
    plant.submit(placed("H-2", stops=("work", "use", "shipment", "release")))
    assert ["release,shipment", "release,shipment,use,work"] == [plant.row(Hold, hold).stops for hold in ("H-1", "H-2")]


def test_a_hold_is_lifted_once_by_someone() -> None:
    """Who lifted it stays known."""
    plant = held()
    plant.submit(lifted(), author="a-john")
    assert (False, "a-john") == (plant.row(Hold, "H-1").open, plant.row(Hold, "H-1").lifted_by)
    refusal = plant.refused(lifted())
    assert (Contradiction, "hold") == (type(refusal), refusal.where)


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (placed(), Contradiction, "hold"),
        (placed("B9.0.0"), Contradiction, "hold"),
        (placed("H-2", node="lot:NONE"), UnknownSubject, "node"),
        (placed("H-2", node="unit:NONE"), UnknownSubject, "node"),
        (placed("H-2", rule=HoldRule(stage="core"), node="lot:BL-1"), MalformedRecord, "node"),
        (HoldPlaced(at=at(4), hold="H-2", reason="void"), MalformedRecord, "node"),
        (lifted("H-9"), UnknownSubject, "hold"),
        (conceded("B4.0.0", node="lot:NONE"), UnknownSubject, "node"),
        (conceded("B4.0.0", "H-9"), UnknownSubject, "holds[1]"),
        (conceded("B4.0.0", node="lot:RESIN"), Contradiction, "holds[0]"),
    ],
)
def test_what_contradicts_is_refused(record: Record, error: type[Exception], where: str) -> None:
    """Each refusal is of its class and names its field."""
    refusal = held().refused(record)
    assert (error, where) == (type(refusal), refusal.where)


def test_a_concession_lifts_the_holds_that_it_names() -> None:
    """And no other; it stays known on the node."""
    plant = held()
    entered = plant.submit(conceded("B4.0.0"))
    assert (False, True) == (plant.row(Hold, "B4.0.0").open, plant.row(Hold, "H-1").open)
    assert ("lot:BL-1", "B4.0.0") == (
        plant.row(ConcessionRow, entered.address).node,
        plant.row(ConcessionRow, entered.address).holds,
    )
    assert Contradiction is type(plant.refused(conceded("B4.0.0")))


def test_a_recall_is_lifted_by_two_people() -> None:
    """The first leaves it open, cannot be the second, and no concession takes its place."""
    plant = stocked_plant()
    plant.submit(placed(recall=True))
    assert RuleStands is type(plant.refused(conceded("H-1")))
    plant.submit(lifted(), author="a-mary")
    assert plant.row(Hold, "H-1").open
    refusal = plant.refused(lifted(), author="a-mary")
    assert (RuleStands, "hold") == (type(refusal), refusal.where)
    plant.submit(lifted(), author="a-john")
    assert (False, "a-mary,a-john") == (plant.row(Hold, "H-1").open, plant.row(Hold, "H-1").lifted_by)


def test_a_hold_by_rule_stands_under_the_rules() -> None:
    """It names no list of lots, so a lot made later is held as well."""
    plant = held()
    plant.submit(placed("H-2", rule=HoldRule(stage="block", began_from=at(3))))
    assert ("rule", '{"began_from":"2026-01-03T08:00:00.000+00:00","stage":"block"}') == (
        plant.row(Hold, "H-2").node,
        plant.row(Hold, "H-2").rule,
    )
