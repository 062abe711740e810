"""What a correction leaves findable, and what it may not bring about."""

from __future__ import annotations

from ledger.errors import Contradiction
from ledger.line.balls import UnitStarted
from ledger.line.materials import OwnLot
from ledger.line.rows import About
from tests.line.independent_fold import check_views
from tests.line.making import allot, at, batch, blocks, cores, engraving, material, stocked_plant
from tests.line.test_corrections import correction


def test_what_was_said_of_a_node_stays_findable() -> None:
    """A lot that a corrected fact is no longer about keeps it under ``once:``, through a second correction too."""
    plant = stocked_plant()
    plant.submit(blocks("BL-2"))
    plant.submit(correction(("5.0", cores("CL-1", ("BL-2", 20)))))
    plant.submit(correction(("5.0", cores("CL-1", ("BL-2", 20), note="seen"))))
    about = {row.node for row in plant.tables.where(About, "address", "5.0")}
    assert {"once:lot:BL-1", "lot:BL-2", "lot:CL-1"} <= about
    assert "lot:BL-1" not in about
    check_views(plant)


def test_a_lot_is_never_made_of_itself() -> None:
    """A batch cannot be said to hold a material that was made of its own blocks; nothing changes."""
    plant = stocked_plant()
    plant.submit(material("REGRIND", from_lots=(OwnLot(lot="BL-1", amount=2),)))
    [mixed] = [fact for fact in plant.facts() if getattr(fact.record, "batch", "") == "MIX-B"]
    refusal = plant.refused(correction((mixed.address, batch("MIX-B", ("RESIN", "200"), ("REGRIND", "10")))))
    assert (Contradiction, "changes[0].replacement") == (type(refusal), refusal.where)
    check_views(plant)


def test_two_facts_never_make_one_ball() -> None:
    """An engraving moved onto a ball that was turned on later is refused, naming the fact in the way."""
    plant = stocked_plant()
    serial, other = allot(plant, 2)
    first = plant.submit(engraving("U-1", serial))
    started = plant.submit(UnitStarted(at=at(9), unit="U-2", lot="SL-1", station="LATHE-1"))
    plant.submit(engraving("U-2", other))
    refusal = plant.refused(correction((first.address, engraving("U-2", serial))))
    assert (Contradiction, "changes[0].replacement") == (type(refusal), refusal.where)
    assert started.address in str(refusal)
    check_views(plant)
