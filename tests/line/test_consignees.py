"""The register of consignees, and shipments that name one."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import MalformedRecord, UnknownSubject
from ledger.line.case_rows import Consignee
from ledger.line.consignees import ConsigneeRegistered
from ledger.line.corrections import Change, Correction
from ledger.line.record import sealed_fields
from ledger.line.rows import Shipped
from ledger.line.shipments import Shipment
from tests.line.independent_fold import check_views
from tests.line.making import at, released_ball, stocked_plant
from tests.line.plant import Plant


def registered(consignee: str = "SHOP-1", **fields: Any) -> ConsigneeRegistered:
    """A shop in market north."""
    said = {"at": at(8), "consignee": consignee, "name": "A shop", "address": "1 High Street", "market": "north"}
    return ConsigneeRegistered(**{**said, **fields})


def shipment(**fields: Any) -> Shipment:
    """U-1 leaves."""
    return Shipment(**{"at": at(12), "shipment": "SH-1", "units": ("U-1",), **fields})


@pytest.fixture
def ready() -> Plant:
    """A plant with U-1 released and SHOP-1 registered."""
    plant = stocked_plant()
    released_ball(plant)
    plant.submit(registered())
    return plant


def test_name_and_address_are_sealed_and_market_is_plain(ready: Plant) -> None:
    """A dossier may leave them closed; the view never holds them."""
    assert {("name",): "withheld", ("address",): "withheld", ("note",): "erasable"} == {
        field.steps: field.sealing for field in sealed_fields(ConsigneeRegistered)
    }
    row: Consignee = ready.row(Consignee, "SHOP-1")
    assert ("north", None) == (row.market, row.language)
    assert not {"name", "A shop"} & {*Consignee.__struct_fields__, *map(str, [row.market, row.language])}


def test_a_later_registration_revises(ready: Plant) -> None:
    """Market and language are the newest, and the row leads to the newest fact."""
    again = ready.submit(registered(market="south", language="en", at=at(9)))
    row: Consignee = ready.row(Consignee, "SHOP-1")
    assert ("south", "en", again.address) == (row.market, row.language, row.address)
    check_views(ready)


def test_a_shipment_may_name_a_registered_consignee(ready: Plant) -> None:
    """Its rows carry the id; one that goes to somebody else carries none."""
    sent = ready.submit(shipment(to="SHOP-1"))
    row: Shipped = ready.row(Shipped, f"{sent.address}.U-1")
    assert "SHOP-1" == row.consignee
    check_views(ready)


def test_a_shipment_outside_the_register_has_no_id(ready: Plant) -> None:
    """The free text stays sealed in its entry."""
    sent = ready.submit(shipment(consignee="a lab"))
    row: Shipped = ready.row(Shipped, f"{sent.address}.U-1")
    assert row.consignee is None


def test_a_shipment_goes_to_one_consignee(ready: Plant) -> None:
    """Neither and both are refused, as is an id that is not in the register."""
    for fields in ({}, {"to": "SHOP-1", "consignee": "a lab"}):
        refused = ready.refused(shipment(**fields))
        assert (MalformedRecord, "to") == (type(refused), refused.where)
    unknown = ready.refused(shipment(to="SHOP-9"))
    assert (UnknownSubject, "to") == (type(unknown), unknown.where)
    assert "consignee-registered" in unknown.mend


def test_a_correction_puts_a_shipment_into_the_register(ready: Plant) -> None:
    """What went to somebody by name is then away with the consignee that was registered since."""
    sent = ready.submit(shipment(consignee="a shop"))
    change = Change(fact=sent.address, replacement=shipment(to="SHOP-1"))
    ready.submit(Correction(at=at(13), reason="registered-since", changes=(change,)))
    row: Shipped = ready.row(Shipped, f"{sent.address}.U-1")
    assert "SHOP-1" == row.consignee
    check_views(ready)
