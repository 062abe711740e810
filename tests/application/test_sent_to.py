"""Whom shipments went to: a registered consignee by its name, another as the shipment states it, and no other fact."""

from __future__ import annotations

from ledger.application.sent_to import sent_to
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, engraved

SHOP = {
    "kind": "consignee-registered", "at": at(100), "consignee": "SHOP-1", "name": "Shop Alder Street", "market": "eu",
}  # fmt: skip


def sent(unit: str, **fields: str) -> dict[str, object]:
    """A shipment of one ball as a sample."""
    return {"kind": "shipment", "at": at(110), "shipment": f"SH-{unit}", "units": [unit], "purpose": "sample", **fields}


def test_names_by_the_fact_that_says_the_shipment(ready: Floor) -> None:
    """By its id a consignee is called what the register says; a fact that is no shipment is left out."""
    ready.say(SHOP)
    for unit in ("U-1", "U-2"):
        ready.say(engraved(unit, f"P-{unit}"))
    registered = f"{ready.say(sent('U-1', to='SHOP-1')).index}.0"
    stated = f"{ready.say(sent('U-2', consignee='A shop in a town')).index}.0"
    with open_reader(ready.book.store) as reader:
        found = sent_to(reader, [registered, stated, "1.0", "9999.0"])
    assert {registered: "Shop Alder Street", stated: "A shop in a town"} == found


def test_nothing_asked_is_nothing_found(ready: Floor) -> None:
    """No fact, no name."""
    with open_reader(ready.book.store) as reader:
        assert {} == sent_to(reader, [])
