"""What happens to a lot: work, splits, merges, losses, recounts, closing."""

from __future__ import annotations

import pytest

from ledger.errors import Contradiction, MalformedRecord, RuleStands, UnknownSubject
from ledger.line.holds import HoldPlaced
from ledger.line.lot_changes import (
    LotChanged,
    LotClosed,
    LotRecounted,
    LotsMerged,
    LotSplit,
    LotWorked,
    PartOfLot,
    PiecesLost,
    balls_root,
)
from ledger.line.lots import left_of
from ledger.line.record import Record
from ledger.line.rows import Descent, Lot, LotStep
from tests.line.independent_fold import check_views
from tests.line.making import at, blocks, cores, engrave, model, shells, stocked_plant


def worked(step: str, began: str, lot: str = "SL-1", ended: str | None = None) -> LotWorked:
    """A step on a lot, done in an instant unless its end is given."""
    return LotWorked(at=ended or began, began_at=began, lot=lot, step=step, station="TURN-1")  # type: ignore[arg-type]  # one of its words


def merged(into: str, *parts: tuple[str, int]) -> LotsMerged:
    """Lots that go on as one, on day 8."""
    return LotsMerged(at=at(8), into=into, lots=tuple(PartOfLot(lot=lot, count=count) for lot, count in parts))


@pytest.mark.parametrize("step", ["pin-filled", "turned"])
def test_the_final_cure_comes_before_pin_fill_and_turning(step: str) -> None:
    """24 h from demoulding on day 7, 08:10."""
    plant = stocked_plant()
    [breach] = plant.submit(worked(step, at(8, "08:09"))).breaches
    assert ("final-cure-short", "lot:SL-1", at(8, "08:10")) == (breach.code, breach.node, breach.earliest)
    assert [] == plant.submit(worked(step, at(8, "08:10"))).codes


def test_other_steps_need_no_cure() -> None:
    """Cleaning, trimming and the drilling of the locating hole are only recorded."""
    plant = stocked_plant()
    assert [] == plant.submit(worked("hole-drilled", at(7, "09:00")), worked("trimmed", at(6), "CL-1")).codes
    assert ["hole-drilled"] == [row.step for row in plant.tables.where(LotStep, "lot", "SL-1")]


def test_a_step_before_the_lot_was_made_is_a_breach() -> None:
    """Nobody trims cores that are not there."""
    assert ["before-parent"] == stocked_plant().submit(worked("trimmed", at(4), "CL-1")).codes


def test_work_under_a_hold_is_a_breach() -> None:
    """A hold that stops work, on the core lot above."""
    plant = stocked_plant()
    plant.submit(HoldPlaced(at=at(7), hold="H-1", reason="void", node="lot:CL-1", stops=("work",)))
    assert ["under-hold"] == plant.submit(worked("sanded", at(9))).codes


def test_a_change_in_mid_lot_is_kept_at_its_count() -> None:
    """Another mould set from the 13th piece on."""
    plant = stocked_plant()
    plant.submit(LotChanged(at=at(7), lot="SL-1", count=12, what="mould-set", to="M-2"))
    assert ["changed mould-set to M-2 at 12"] == [row.step for row in plant.tables.where(LotStep, "lot", "SL-1")]


def test_a_split_lot_goes_on_with_what_its_parent_was() -> None:
    """Pieces, model, class and instants go over; the parent has the rest."""
    plant = stocked_plant()
    plant.submit(LotSplit(at=at(8), lot="SL-1", into="SL-1A", count=6))
    heir, parent = plant.row(Lot, "SL-1A"), plant.row(Lot, "SL-1")
    assert (6, 14) == (left_of(heir), left_of(parent))
    assert ("shell", "ORBIT", 15, parent.ended_ms) == (heir.stage, heir.model, heir.weight_class, heir.ended_ms)


def test_lots_of_two_revisions_do_not_become_one() -> None:
    """The heir has one revision, by which it is approved and type-tested."""
    plant = stocked_plant()
    plant.submit(model(revision=2), shells("SL-2", ("CL-1", 4), revision=2))
    error = plant.refused(merged("SL-3", ("SL-1", 20), ("SL-2", 4)))
    assert ("lots[1].lot", "shell of ORBIT, revision 1", "shell of ORBIT, revision 2") == (
        error.where, error.expected, error.got,
    )  # fmt: skip


def test_a_merged_lot_has_the_latest_instant_and_both_parents() -> None:
    """From then on a piece descends from one or another, and the latest pour decides the cure."""
    plant = stocked_plant()
    plant.submit(blocks("BL-2", 10), cores("CL-2", ("BL-2", 10)))
    plant.submit(shells("SL-2", ("CL-2", 10), began_at=at(7, "10:00"), at=at(7, "10:10")))
    plant.submit(merged("SL-3", ("SL-1", 20), ("SL-2", 4)))
    heir = plant.row(Lot, "SL-3")
    assert (24, plant.row(Lot, "SL-2").ended_ms) == (left_of(heir), heir.ended_ms)
    assert [("SL-1", "merge"), ("SL-2", "merge")] == [
        (edge.parent, edge.part) for edge in plant.tables.where(Descent, "child", "SL-3")
    ]
    assert ["final-cure-short"] == plant.submit(worked("turned", at(8, "09:00"), "SL-3")).codes


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (worked("turned", at(9), "NONE"), UnknownSubject, "lot"),
        (worked("turned", at(9), "RESIN"), Contradiction, "lot"),
        (worked("turned", at(9), ended=at(8)), MalformedRecord, "at"),
        (LotChanged(at=at(8), lot="NONE", count=1, what="line", to="L-2"), UnknownSubject, "lot"),
        (LotSplit(at=at(8), lot="NONE", into="X", count=1), UnknownSubject, "lot"),
        (LotSplit(at=at(8), lot="SL-1", into="CL-1", count=1), Contradiction, "lot"),
        (LotSplit(at=at(8), lot="SL-1", into="X", count=21), RuleStands, "count"),
        (merged("X", ("SL-1", 20), ("SL-1", 1)), Contradiction, "lots[1].lot"),
        (merged("X", ("SL-1", 1), ("CL-1", 1)), Contradiction, "lots[1].lot"),
        (merged("X", ("SL-1", 1), ("NONE", 1)), UnknownSubject, "lots[1].lot"),
        (PiecesLost(at=at(8), lot="NONE", count=1, how="scrap", reason="void"), UnknownSubject, "lot"),
        (LotRecounted(at=at(8), lot="NONE", left=1, reason="count"), UnknownSubject, "lot"),
        (LotClosed(at=at(8), lot="SL-1", count=1, balls_root=balls_root([])), RuleStands, "balls_root"),
        (LotClosed(at=at(8), lot="CL-1", count=0, balls_root=balls_root([])), Contradiction, "lot"),
    ],
)
def test_what_contradicts_is_refused(record: Record, error: type[Exception], where: str) -> None:
    """Each refusal is of its class and names its field."""
    refusal = stocked_plant().refused(record)
    assert (error, where) == (type(refusal), refusal.where)


def test_lost_pieces_leave_the_account_and_too_many_are_a_breach() -> None:
    """Scrap, a destructive test and retained samples go from what is left."""
    plant = stocked_plant()
    lost = [
        PiecesLost(at=at(8), lot="SL-1", count=count, how=how, reason="saw-cut")  # type: ignore[arg-type]  # one of its words
        for count, how in ((1, "destructive-test"), (2, "retained"), (17, "scrap"))
    ]
    assert [] == plant.submit(*lost).codes
    assert ["over-drawn"] == plant.submit(lost[0]).codes
    assert -1 == left_of(plant.row(Lot, "SL-1"))


def test_a_recount_states_what_is_there() -> None:
    """Whatever the account said before, up or down."""
    plant = stocked_plant()
    for left in (17, 23):
        plant.submit(LotRecounted(at=at(8), lot="SL-1", left=left, reason="stock-take"))
        assert left == left_of(plant.row(Lot, "SL-1"))


def test_a_lot_is_closed_over_its_balls() -> None:
    """Count and Merkle root over unit and serial; a later ball is a breach that holds the ball."""
    plant = stocked_plant()
    serial = engrave(plant, "U-1")
    root = balls_root([("U-1", serial)])
    refusal = plant.refused(LotClosed(at=at(10), lot="SL-1", count=1, balls_root=balls_root([("U-1", None)])))
    assert f"1 balls with root {root}" == refusal.expected
    plant.submit(LotClosed(at=at(10), lot="SL-1", count=1, balls_root=root))
    assert plant.row(Lot, "SL-1").closed
    engrave(plant, "U-2")
    assert [("lot-closed", "unit:U-2")] == [(hold.reason, hold.node) for hold in plant.tables.listed()["Hold"]]  # type: ignore[attr-defined]


def test_drawing_from_a_closed_lot_is_a_breach() -> None:
    """A closed shell lot gives no regrind unnoticed."""
    plant = stocked_plant()
    plant.submit(LotClosed(at=at(8), lot="SL-1", count=0, balls_root=balls_root([])))
    assert ["lot-closed"] == plant.submit(
        *[_regrind()],
    ).codes


def _regrind() -> Record:
    from ledger.line.materials import MaterialReceived, OwnLot  # noqa: PLC0415  # used by this test alone

    return MaterialReceived(
        at=at(9), lot="REGRIND", material="regrind", kg="5", from_lots=(OwnLot(lot="SL-1", amount=1),)
    )


def test_the_root_of_no_balls_is_that_of_the_empty_tree() -> None:
    """RFC 9162 section 2.1.1: the hash of an empty list is SHA-256 of nothing."""
    assert "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855" == balls_root([])


def test_a_finishing_step_is_of_the_lot_and_of_what_it_goes_on_as() -> None:
    """A split takes its lot's finish along; lots of unlike finish that become one have none that is known."""
    plant = stocked_plant()
    plant.submit(worked("turned", at(9, "08:00")), worked("sanded", at(9, "09:00")))
    plant.submit(LotSplit(at=at(9, "10:00"), lot="SL-1", into="SL-2", count=5))
    plant.submit(worked("polished", at(9, "11:00"), lot="SL-2"))
    parts = (PartOfLot(lot="SL-1", count=5), PartOfLot(lot="SL-2", count=5))
    plant.submit(LotsMerged(at=at(9, "12:00"), lots=parts, into="SL-3"))
    assert ["sanded", "polished", None] == [plant.row(Lot, lot).finish for lot in ("SL-1", "SL-2", "SL-3")]
    check_views(plant)
