"""Material lots and batches: what is checked, and what stands in the way."""

from __future__ import annotations

import pytest

from ledger.errors import Contradiction, MalformedDecimal, UnknownSubject
from ledger.line.holds import HoldPlaced
from ledger.line.lots import left_of
from ledger.line.materials import OwnLot
from ledger.line.rows import Descent, Lot
from tests.line.making import at, batch, blocks, cores, material, ready_plant


def test_a_batch_draws_grams_from_its_materials() -> None:
    """1,000 kg less the 600 and less the 200 kg that the ready batches took."""
    plant = ready_plant()
    assert (400_000, 800_000) == (left_of(plant.row(Lot, "RESIN")), left_of(plant.row(Lot, "FILLER")))
    assert 400_000 == plant.row(Lot, "MIX-B").made


def test_a_second_lot_of_one_id_is_refused() -> None:
    """The refusal names the fact that made the first."""
    error = ready_plant().refused(material("RESIN"))
    assert (Contradiction, "lot") == (type(error), error.where)
    assert "fact 2.0" in str(error)


def test_an_unknown_material_is_refused() -> None:
    """A batch cannot hold what the book does not know."""
    error = ready_plant().refused(batch("MIX-X", ("RESIN", "1"), ("NONE", "1")))
    assert (UnknownSubject, "draws[1].lot") == (type(error), error.where)


def test_a_batch_of_pieces_is_refused() -> None:
    """A block lot is no material."""
    plant = ready_plant()
    plant.submit(blocks("BL-1"))
    error = plant.refused(batch("MIX-X", ("BL-1", "1")))
    assert (Contradiction, "draws[0].lot") == (type(error), error.where)


def test_an_expired_material_is_a_breach_that_holds_the_batch() -> None:
    """The last day itself is in date, the next is not."""
    plant = ready_plant()
    plant.submit(material("OLD", expires_on="2026-01-02"))
    assert [] == plant.submit(batch("MIX-1", ("OLD", "1"))).codes
    entered = plant.submit(batch("MIX-2", ("OLD", "1"), began_at=at(3, "00:00"), at=at(3, "00:10")))
    assert (["expired"], "lot:MIX-2") == (entered.codes, entered.breaches[0].node)
    assert f"B{entered.address}.0" in [hold.hold for hold in plant.tables.listed()["Hold"]]  # type: ignore[attr-defined]


def test_an_expired_material_poured_directly_is_a_breach_too() -> None:
    """A block lot may be moulded from a material that needs no mixing."""
    plant = ready_plant()
    plant.submit(material("OLD", expires_on="2026-01-02"))
    draws = batch("X", ("OLD", "1")).draws
    assert ["expired"] == plant.submit(blocks("BL-1", batches=draws)).codes


def test_more_than_there_is_is_a_breach_of_the_material() -> None:
    """Twice 300 of 400 kg, named twice in one batch, is over-drawn once."""
    entered = ready_plant().submit(batch("MIX-1", ("RESIN", "300"), ("RESIN", "300")))
    assert [("over-drawn", "lot:RESIN", "2.0")] == [(b.code, b.node, b.fact) for b in entered.breaches]


def test_mixing_before_the_material_came_is_a_breach() -> None:
    """The batch began before the drum was received."""
    entered = ready_plant().submit(batch("MIX-1", ("RESIN", "1"), began_at=at(1, "08:59")))
    assert ["before-parent"] == entered.codes


def test_a_component_above_the_density_cap_is_a_breach() -> None:
    """3.80 g/mL is the cap (second-hand: rulebook text quoted elsewhere), itself allowed."""
    plant = ready_plant()
    assert [] == plant.submit(batch("MIX-1", ("RESIN", "1"), density="3.80")).codes
    entered = plant.submit(batch("MIX-2", ("RESIN", "1"), density="3.81"))
    assert ["density-cap"] == entered.codes
    assert "3.8 g/mL" in entered.breaches[0].said


def test_a_hold_on_use_of_a_material_is_a_breach_of_the_batch() -> None:
    """A report is entered all the same, and names the hold."""
    plant = ready_plant()
    plant.submit(HoldPlaced(at=at(2), hold="H-1", reason="supplier-notice", node="lot:RESIN", stops=("use",)))
    entered = plant.submit(batch("MIX-1", ("RESIN", "1")))
    assert ["under-hold"] == entered.codes
    assert "H-1" in entered.breaches[0].said


def test_a_hold_on_a_material_stops_the_use_of_everything_below() -> None:
    """Cores of blocks of a batch of the held drum are used against the hold as well."""
    plant = ready_plant()
    plant.submit(blocks("BL-1"))
    plant.submit(HoldPlaced(at=at(4), hold="H-1", reason="supplier-notice", node="lot:FILLER", stops=("use",)))
    assert ["under-hold"] == plant.submit(cores("CL-1", ("BL-1", 5))).codes


def test_a_material_may_be_made_of_own_lots() -> None:
    """Regrind takes pieces from a block lot, which is then an ancestor."""
    plant = ready_plant()
    plant.submit(blocks("BL-1"))
    own = (OwnLot(lot="BL-1", amount=10),)
    assert [] == plant.submit(material("REGRIND", at=at(4), kg="25", from_lots=own)).codes
    assert 90 == left_of(plant.row(Lot, "BL-1"))
    assert ["BL-1"] == [edge.parent for edge in plant.tables.where(Descent, "child", "REGRIND")]


def test_own_lots_under_a_hold_on_use_are_a_breach() -> None:
    """Grinding held blocks does not free them."""
    plant = ready_plant()
    plant.submit(blocks("BL-1"))
    plant.submit(HoldPlaced(at=at(4), hold="H-1", reason="cracks", node="lot:BL-1", stops=("use",)))
    own = (OwnLot(lot="BL-1", amount=10),)
    assert ["under-hold"] == plant.submit(material("REGRIND", at=at(4), kg="25", from_lots=own)).codes


def test_an_unknown_own_lot_is_refused() -> None:
    """A material made of own lots names known ones."""
    error = ready_plant().refused(material("REGRIND", from_lots=(OwnLot(lot="NONE", amount=1),)))
    assert (UnknownSubject, "from_lots[0].lot") == (type(error), error.where)


def test_a_density_is_kept_in_millionths() -> None:
    """And one with more places is malformed."""
    plant = ready_plant()
    plant.submit(material("HEAVY", density="4.5"))
    assert 4_500_000 == plant.row(Lot, "HEAVY").density_micro
    with pytest.raises(MalformedDecimal):
        plant.submit(material("HEAVIER", density="4.1234567"))
