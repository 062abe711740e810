"""Shipment, return and restock."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.holds import HoldPlaced
from ledger.line.record import Record
from ledger.line.rows import Shipped, Unit
from ledger.line.shipments import Restocked, Returned, Shipment
from tests.line.making import at, engrave, release, released_ball, stocked_plant


def shipment(*units: str, **fields: Any) -> Shipment:
    """A shipment for sale, on day 12."""
    return Shipment(**{"at": at(12), "shipment": "SH-1", "units": units or ("U-1",), "consignee": "a shop", **fields})


def returned(unit: str = "U-1") -> Returned:
    """The ball came back on day 20."""
    return Returned(at=at(20), unit=unit, reason="refused-delivery")


def test_a_released_ball_is_sold() -> None:
    """It is away in its shipment."""
    plant = stocked_plant()
    released_ball(plant)
    plant.submit(shipment())
    assert ("shipped", "SH-1") == (plant.row(Unit, "U-1").state, plant.row(Unit, "U-1").away)


def test_a_prototype_is_not_sold() -> None:
    """A released prototype leaves with a purpose, and not for sale."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    plant.submit(release(plant, "U-1", grade="prototype"))
    refused = plant.refused(shipment())
    assert (RuleStands, "units[0]") == (type(refused), refused.where.rpartition("].")[2])
    plant.submit(shipment(purpose="sample"))
    assert "shipped" == plant.row(Unit, "U-1").state


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (shipment("U-1", "U-2"), RuleStands, "units[1]"),
        (shipment("U-1", "U-9"), UnknownSubject, "units[1]"),
        (shipment("U-1", "U-1"), Contradiction, "units"),
        (Restocked(at=at(13), unit="U-1"), RuleStands, "unit"),
        (Restocked(at=at(13), unit="U-9"), UnknownSubject, "unit"),
        (returned("U-9"), UnknownSubject, "unit"),
    ],
)
def test_what_contradicts_is_refused(record: Record, error: type[Exception], where: str) -> None:
    """One ball that may not leave keeps the whole shipment here."""
    plant = stocked_plant()
    released_ball(plant)
    engrave(plant, "U-2")
    refusal = plant.refused(record)
    assert (error, where) == (type(refusal), refusal.where)


def test_a_shipment_is_entered_once() -> None:
    """Its id is used."""
    plant = stocked_plant()
    released_ball(plant)
    plant.submit(shipment())
    refusal = plant.refused(shipment())
    assert (Contradiction, "shipment") == (type(refusal), refusal.where)


def test_a_ball_not_released_leaves_only_not_for_sale() -> None:
    """With a purpose; once."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    assert RuleStands is type(plant.refused(shipment()))
    plant.submit(shipment(purpose="test"))
    assert "test" == plant.tables.where(Shipped, "unit", "U-1")[0].purpose
    assert "shipped" == plant.refused(shipment(shipment="SH-2", purpose="test")).got


@pytest.mark.parametrize("purpose", ["sale", "display"])
def test_a_hold_stops_shipment_whatever_the_purpose(purpose: str) -> None:
    """A released ball under a hold stays."""
    plant = stocked_plant()
    released_ball(plant)
    plant.submit(HoldPlaced(at=at(11), hold="H-1", reason="claims", node="lot:BL-1"))
    refusal = plant.refused(shipment(purpose=purpose))
    assert (RuleStands, "units[0]") == (type(refusal), refusal.where)


def test_a_return_ends_the_release() -> None:
    """It cannot be sold again before it is released again; restocked or not."""
    plant = stocked_plant()
    released_ball(plant)
    plant.submit(shipment())
    plant.submit(returned())
    unit = plant.row(Unit, "U-1")
    assert ("returned", None, None) == (unit.state, unit.release, unit.away)
    assert plant.tables.where(Shipped, "unit", "U-1")[0].back_ms is not None
    assert RuleStands is type(plant.refused(shipment(shipment="SH-2", at=at(21))))
    plant.submit(Restocked(at=at(21), unit="U-1"))
    assert ("engraved", None) == (plant.row(Unit, "U-1").state, plant.row(Unit, "U-1").grade)
    plant.submit(release(plant, "U-1", at=at(22)))
    assert [] == plant.submit(shipment(shipment="SH-2", at=at(23))).codes


def test_a_return_of_a_ball_that_was_here_is_a_breach() -> None:
    """It came back, so something said before is wrong."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    assert ["return-of-present"] == plant.submit(returned()).codes
