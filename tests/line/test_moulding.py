"""The three pours: windows, accounts, positions, and what a pour is made of."""

from __future__ import annotations

import pytest

from ledger.errors import Contradiction, MalformedRecord, UnknownSubject
from ledger.line.holds import HoldPlaced
from ledger.line.lots import left_of
from ledger.line.record import Record
from ledger.line.rows import Descent, Lot
from tests.line.making import at, batch, blocks, cores, model, ready_plant, shells, stocked_plant


def test_pours_as_planned_have_no_breach() -> None:
    """Blocks, cores and shells that kept their windows; every piece is accounted for."""
    plant = stocked_plant()
    assert [] == plant.tables.listed()["Hold"]
    assert [0, 0, 20] == [left_of(plant.row(Lot, lot)) for lot in ("BL-1", "CL-1", "SL-1")]
    assert ("shell", 1, 15) == (
        plant.row(Lot, "SL-1").stage,
        plant.row(Lot, "SL-1").revision,
        plant.row(Lot, "SL-1").weight_class,
    )


@pytest.mark.parametrize(
    ("minutes", "codes"), [(6, []), (5, ["block-demould-short"]), (30, []), (31, ["block-demould-long"])]
)
def test_demould_windows_are_inclusive(minutes: int, codes: list[str]) -> None:
    """6 to 30 minutes, both ends allowed."""
    entered = ready_plant().submit(blocks("BL-1", at=at(3, f"08:{minutes:02d}")))
    assert codes == entered.codes
    assert ["lot:BL-1"] * len(codes) == [breach.node for breach in entered.breaches]


def test_blocks_poured_before_their_rest_are_a_breach_with_the_earliest_instant() -> None:
    """The rest runs from demoulding; the breach names the block lot's fact and when the rest was over."""
    plant = ready_plant()
    plant.submit(blocks("BL-1"))
    entered = plant.submit(cores("CL-1", ("BL-1", 5), began_at=at(4, "08:09"), at=at(4, "08:30")))
    [breach] = entered.breaches
    assert ("block-rest-short", "lot:CL-1", "4.0", at(4, "08:10")) == (
        breach.code,
        breach.node,
        breach.fact,
        breach.earliest,
    )


def test_cores_rested_too_long_are_a_breach() -> None:
    """The plan may set an upper end: 60 days."""
    plant = ready_plant()
    plant.submit(blocks("BL-1"))
    plant.submit(cores("CL-1", ("BL-1", 5)))
    entered = plant.submit(shells("SL-1", ("CL-1", 5), began_at=at(70), at=at(70, "08:10")))
    assert ["core-rest-long"] == entered.codes


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (blocks("BL-1"), Contradiction, "lot"),
        (blocks("BL-2", model="NONE"), UnknownSubject, "model"),
        (blocks("BL-2", at=at(3, "07:59")), MalformedRecord, "at"),
        (blocks("BL-2", batches=batch("X", ("NONE", "1")).draws), UnknownSubject, "batches[0].lot"),
        (blocks("BL-2", batches=batch("X", ("CL-1", "1")).draws), Contradiction, "batches[0].lot"),
        (cores("CL-2", ("NONE", 1)), UnknownSubject, "blocks[0].lot"),
        (cores("CL-2", ("CL-1", 1)), Contradiction, "blocks[0].lot"),
        (shells("SL-2", ("CL-1", 1), ("BL-1", 1)), Contradiction, "cores[1].lot"),
        (shells("SL-2", ("CL-1", 5, 1, 6)), MalformedRecord, "cores[0]"),
        (shells("SL-2", ("CL-1", 5, 3, 2)), MalformedRecord, "cores[0]"),
    ],
)
def test_what_contradicts_is_refused(record: Record, error: type[Exception], where: str) -> None:
    """Each refusal is of its class and names its field."""
    refusal = stocked_plant().refused(record)
    assert (error, where) == (type(refusal), refusal.where)


def test_one_end_of_a_range_is_refused() -> None:
    """Positions have a first and a last."""
    pour = shells("SL-2", ("CL-1", 5))
    half = type(pour.cores[0])(lot="CL-1", count=5, first=1)
    refusal = stocked_plant().refused(shells("SL-2", ("CL-1", 5), cores=(half,)))
    assert (MalformedRecord, "cores[0]") == (type(refusal), refusal.where)


def test_more_blocks_than_there_are_is_a_breach_of_the_block_lot() -> None:
    """What was done is recorded; the account goes below nothing and the lot is held."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", 10))
    entered = plant.submit(cores("CL-1", ("BL-1", 12)))
    assert [("over-drawn", "lot:BL-1")] == [(breach.code, breach.node) for breach in entered.breaches]
    assert -2 == left_of(plant.row(Lot, "BL-1"))


def test_rejects_are_counted_and_a_count_that_differs_is_a_breach() -> None:
    """What went in comes out good or rejected."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", 30, rejects=2))
    assert [] == plant.submit(cores("CL-1", ("BL-1", 10), count=8, rejects=2)).codes
    assert ["count-differs"] == plant.submit(cores("CL-2", ("BL-1", 10), count=8, rejects=1)).codes
    assert (8, 2) == (plant.row(Lot, "CL-1").made, plant.row(Lot, "CL-1").rejects)


def test_pieces_of_another_model_are_a_breach() -> None:
    """Cores of ORBIT in a shell of another model."""
    plant = stocked_plant()
    plant.submit(model(model="COMET", gtin="09521234000020"))
    entered = plant.submit(shells("SL-2", ("CL-1", 0 + 1), model="COMET"))
    assert ["other-model", "over-drawn"] == entered.codes


def test_pouring_before_the_parent_was_made_is_a_breach() -> None:
    """The rest cannot have been kept either."""
    plant = ready_plant()
    plant.submit(blocks("BL-1"))
    entered = plant.submit(cores("CL-1", ("BL-1", 1), began_at=at(3, "07:00"), at=at(3, "07:30")))
    assert ["before-parent", "block-rest-short"] == entered.codes


def test_pouring_under_a_hold_is_a_breach() -> None:
    """A hold that stops use, on the batch."""
    plant = ready_plant()
    plant.submit(HoldPlaced(at=at(2), hold="H-1", reason="smell", node="lot:MIX-B", stops=("use", "work")))
    assert ["under-hold"] == plant.submit(blocks("BL-1")).codes


def test_positions_and_alternatives_are_kept_on_the_edges() -> None:
    """Two core lots in one rack are one part; the colour is another."""
    plant = stocked_plant()
    plant.submit(blocks("BL-2", 8), cores("CL-2", ("BL-2", 8)))
    plant.submit(shells("SL-2", ("CL-1", 4, 1, 4), ("CL-2", 8, 5, 12)))
    edges = plant.tables.where(Descent, "child", "SL-2")
    assert [("CL-1", "core", 1, 4), ("CL-2", "core", 5, 12), ("MIX-R", "colour:red", None, None)] == [
        (edge.parent, edge.part, edge.first, edge.last) for edge in edges
    ]


def test_one_clock_measures_its_own_demoulding_rightly() -> None:
    """A constant error is in the pour and in the demoulding: what lies between is as long as the clock says."""
    assert [] == ready_plant().submit(blocks("BL-1", clock_error_s=600)).codes
