"""Corrections: facts replaced or withdrawn together, judged at their place; and re-checks of what lies below."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, MalformedRecord, RuleStands, UnknownSubject
from ledger.line.balls import UnitStarted
from ledger.line.corrections import Change, Correction, Recheck
from ledger.line.holds import Concession, HoldLifted, HoldPlaced
from ledger.line.lot_changes import LotRecounted, LotSplit, LotWorked
from ledger.line.lots import left_of
from ledger.line.reading_rows import Measured
from ledger.line.record import Record
from ledger.line.rows import BreachRow, FactRow, Hold, Lot, SerialRow, Unit
from ledger.line.samples import SampleVerdict
from ledger.line.shipments import Returned, Shipment
from tests.line.independent_fold import check_views
from tests.line.making import (
    allot,
    at,
    batch,
    blocks,
    cores,
    engrave,
    engraving,
    inspection,
    plan,
    reading,
    ready_plant,
    release,
    released_ball,
    sample,
    shells,
    stocked_plant,
)
from tests.line.plant import Plant


def correction(*changes: tuple[str, Record | None], day: int = 30, **fields: Any) -> Correction:
    """Facts replaced by the record given, or withdrawn where there is none."""
    made = tuple(Change(fact=fact) if new is None else Change(fact=fact, replacement=new) for fact, new in changes)
    return Correction(**{"at": at(day), "reason": "typed-wrong", "changes": made, **fields})


def test_a_replaced_fact_counts_as_if_it_had_been_said_so() -> None:
    """The account, the fact's body and its place; nothing of the first body is left."""
    plant = stocked_plant()
    plant.submit(
        correction(("5.0", cores("CL-1", ("BL-1", 20), count=18, rejects=2)), ("6.0", shells("SL-1", ("CL-1", 18))))
    )
    row, fact = plant.row(Lot, "CL-1"), plant.row(FactRow, "5.0")
    assert (18, 2, "5.0") == (row.made, row.rejects, row.address)
    assert ("7.0.0", True) == (fact.body, fact.standing)
    check_views(plant)


def test_a_withdrawn_fact_stands_no_more() -> None:
    """Its row says so, and its lot is gone."""
    plant = stocked_plant()
    plant.submit(correction(("6.0", None)))
    assert (False, None, 20) == (
        plant.row(FactRow, "6.0").standing,
        plant.row(Lot, "SL-1"),
        left_of(plant.row(Lot, "CL-1")),
    )
    refusal = plant.refused(correction(("6.0", None)))
    assert (Contradiction, "changes[0].fact") == (type(refusal), refusal.where)
    check_views(plant)


def test_a_fact_that_others_speak_of_is_not_withdrawn_alone() -> None:
    """The refusal names the first of them; together they go."""
    plant = stocked_plant()
    refusal = plant.refused(correction(("5.0", None)))
    assert (Contradiction, "changes") == (type(refusal), refusal.where)
    assert "fact 6.0" in str(refusal)
    plant.submit(correction(("5.0", None), ("6.0", None)))
    assert [None, None, 20] == [plant.row(Lot, "CL-1"), plant.row(Lot, "SL-1"), left_of(plant.row(Lot, "BL-1"))]
    check_views(plant)


def test_a_ball_is_not_renamed_from_under_its_readings() -> None:
    """Its inspections are changed with it."""
    plant = stocked_plant()
    serial = engrave(plant, "U-1")
    entered = plant.submit(inspection("U-1"))
    renamed = ("8.0", engraving("U-2", serial))
    assert f"fact {entered.address}" in str(plant.refused(correction(renamed)))
    plant.submit(correction(renamed, (entered.address, inspection("U-2"))))
    assert (None, serial, 15_100_000) == (
        plant.row(Unit, "U-1"),
        plant.row(Unit, "U-2").serial,
        plant.row(Measured, "U-2").mass,
    )
    check_views(plant)


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (correction(("99.0", None)), UnknownSubject, "changes[0].fact"),
        (correction(("6.0", None), ("6.0", shells("SL-1", ("CL-1", 1)))), Contradiction, "changes"),
        (correction(("6.0", shells("SL-1", ("NONE", 1)))), UnknownSubject, "changes[0].replacement.cores[0].lot"),
        (correction(("6.0", shells("CL-1", ("CL-1", 1)))), Contradiction, "changes[0].replacement.lot"),
        (correction(("4.0", None), ("6.0", shells("SL-1", ("CL-1", 9, 1, 10)))), MalformedRecord, "changes[1].replacement.cores[0]"),
        (Recheck(at=at(30), because="99.0", facts=("6.0",)), UnknownSubject, "because"),
        (Recheck(at=at(30), because="6.0", facts=("6.0", "99.0")), UnknownSubject, "facts[1]"),
    ],
)  # fmt: skip
def test_what_contradicts_is_refused(record: Record, error: type[Exception], where: str) -> None:
    """All changes stand or none does; the refusal names the change and its field."""
    refusal = stocked_plant().refused(record)
    assert (error, where) == (type(refusal), refusal.where)


def test_corrections_and_rechecks_are_not_corrected() -> None:
    """The fact that they spoke about is."""
    plant = stocked_plant()
    first = plant.submit(correction(("6.0", shells("SL-1", ("CL-1", 19)))))
    refusal = plant.refused(correction((first.address, None)))
    assert (Contradiction, "changes[0].fact") == (type(refusal), refusal.where)
    plant.submit(correction(("6.0", shells("SL-1", ("CL-1", 18)))))
    assert (18, 2) == (plant.row(Lot, "SL-1").made, left_of(plant.row(Lot, "CL-1")))
    check_views(plant)


def test_a_correction_is_said_alone() -> None:
    """All its changes are in one record."""
    refusal = stocked_plant().refused(correction(("6.0", None)), correction(("5.0", None)))
    assert (MalformedRecord, "records") == (type(refusal), refusal.where)


def test_a_correction_that_removes_a_breach_removes_its_hold() -> None:
    """The demould time was typed wrong; lifting the old hold is then about nothing."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", at=at(3, "08:01")))
    plant.submit(HoldLifted(at=at(3), hold="B4.0.0", reason="looked-at"))
    assert [] == plant.submit(correction(("4.0", blocks("BL-1")))).codes
    assert ([], []) == (plant.tables.listed()["Hold"], plant.tables.listed()["BreachRow"])
    check_views(plant)


def test_a_correction_that_brings_a_breach_brings_its_hold() -> None:
    """The hold is named for where the body stands, and the breach for the change."""
    plant = ready_plant()
    plant.submit(blocks("BL-1"))
    entered = plant.submit(correction(("4.0", blocks("BL-1", at=at(3, "08:01")))))
    assert [("block-demould-short", 0)] == [(breach.code, breach.change) for breach in entered.breaches]
    assert ("lot:BL-1", True) == (plant.row(Hold, "B5.0.0.0").node, plant.row(Hold, "B5.0.0.0").open)
    assert "4.0" == plant.row(BreachRow, "B5.0.0.0").address
    plant.submit(correction(("4.0", blocks("BL-1", at=at(3, "08:02")))))
    assert ["B6.0.0.0"] == [hold.hold for hold in plant.tables.listed()["Hold"]]  # type: ignore[attr-defined]
    check_views(plant)


def _short(plant: Plant) -> None:
    plant.submit(blocks("BL-1", 10))
    plant.submit(cores("CL-1", ("BL-1", 15)))


def test_a_correction_may_make_a_shortage_smaller() -> None:
    """The fact over-draws still, which it says; no conflict is added."""
    plant = ready_plant()
    _short(plant)
    entered = plant.submit(correction(("5.0", cores("CL-1", ("BL-1", 12)))))
    assert [("over-drawn", 0)] == [(breach.code, breach.change) for breach in entered.breaches]
    assert -2 == left_of(plant.row(Lot, "BL-1"))
    check_views(plant)


def test_a_correction_that_makes_a_shortage_worse_is_a_breach() -> None:
    """Fewer blocks were made than was said: the conflict is the correction's own breach and holds the block lot."""
    plant = ready_plant()
    _short(plant)
    entered = plant.submit(correction(("4.0", blocks("BL-1", 8))))
    assert [("over-drawn", "lot:BL-1", False)] == [
        (b.code, b.node, isinstance(b.change, int)) for b in entered.breaches
    ]
    assert plant.row(Hold, f"B{entered.address}.0").open
    check_views(plant)


def test_too_few_shells_for_the_balls_that_were_made_is_a_breach() -> None:
    """The account that counts is the one after the correction, with all that was drawn since."""
    plant = stocked_plant()
    for number in range(3):
        engrave(plant, f"U-{number}")
    entered = plant.submit(correction(("6.0", shells("SL-1", ("CL-1", 2)))))
    assert ["over-drawn"] == entered.codes
    assert -1 == left_of(plant.row(Lot, "SL-1"))


def test_a_lift_of_the_hold_of_a_correction_may_be_withdrawn() -> None:
    """The hold of the conflict is folded anew from the correction that opened it."""
    plant = ready_plant()
    _short(plant)
    hold = f"B{plant.submit(correction(('4.0', blocks('BL-1', 8)))).address}.0"
    lift = plant.submit(HoldLifted(at=at(31), hold=hold, reason="looked-at"))
    assert not plant.row(Hold, hold).open
    plant.submit(correction((lift.address, None)))
    assert plant.row(Hold, hold).open
    check_views(plant)


def test_a_decision_is_judged_at_its_place_among_the_facts() -> None:
    """A release and a shipment are corrected after the ball came back; a turning after the ball was engraved."""
    plant = stocked_plant()
    started = plant.submit(UnitStarted(at=at(8, "09:00"), unit="U-1", lot="SL-1", station="TURN-1", place=3))
    released = released_ball(plant)
    sent = plant.submit(Shipment(at=at(12), shipment="SH-1", units=("U-1",), consignee="a shop"))
    plant.submit(Returned(at=at(20), unit="U-1", reason="refused"))
    placed = UnitStarted(at=at(8, "09:00"), unit="U-1", lot="SL-1", station="TURN-1", place=4)
    entered = plant.submit(
        correction(
            (started.address, placed),
            (released.address, release(plant, "U-1", at=at(11, "12:00"))),
            (sent.address, Shipment(at=at(12), shipment="SH-1", units=("U-1",), consignee="another shop")),
        )
    )
    assert ([], 4, "returned") == (entered.codes, plant.row(Unit, "U-1").place, plant.row(Unit, "U-1").state)
    refusal = plant.refused(correction((released.address, None), (sent.address, Shipment(
        at=at(12), shipment="SH-2", units=("U-1",), consignee="a shop"))))  # fmt: skip
    assert (RuleStands, "changes[1].replacement.units[0]") == (type(refusal), refusal.where)
    check_views(plant)


def test_corrected_readings_of_a_released_ball_hold_it() -> None:
    """Its verdicts were drawn from others."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    read = plant.submit(inspection("U-1", reading()))
    plant.submit(sample())
    released = plant.submit(release(plant, "U-1"))
    entered = plant.submit(correction((read.address, inspection("U-1", reading(value="16.01")))))
    assert [("release-unfounded", "unit:U-1", released.address)] == [(b.code, b.node, b.fact) for b in entered.breaches]
    check_views(plant)


def test_two_serials_are_exchanged_in_one_correction() -> None:
    """Each was on the other ball."""
    plant = stocked_plant()
    one, two = allot(plant, 2)
    plant.submit(engraving("U-1", one), engraving("U-2", two))
    at_one, at_two = f"{len(plant.entries) - 1}.0", f"{len(plant.entries) - 1}.1"
    entered = plant.submit(correction((at_one, engraving("U-1", two)), (at_two, engraving("U-2", one))))
    assert ([], two, one) == (entered.codes, plant.row(Unit, "U-1").serial, plant.row(Unit, "U-2").serial)
    assert Contradiction is type(plant.refused(correction((at_one, engraving("U-1", one)))))
    check_views(plant)


def test_a_serial_that_comes_to_stand_twice_is_a_breach() -> None:
    """A prior number turns out to be an own one that a later ball bears."""
    plant = stocked_plant()
    serial = allot(plant)[0]
    first = plant.submit(engraving("U-1", serial, scheme="prior"))
    plant.submit(engraving("U-2", serial))
    refusal = plant.refused(correction((first.address, engraving("U-1", serial))))
    assert (Contradiction, "changes[0].replacement.serial") == (type(refusal), refusal.where)
    assert 2 == len(plant.tables.where(SerialRow, "serial", serial))


def test_a_serial_that_another_corrected_ball_bears_is_a_breach() -> None:
    """Where both balls are folded anew the later engraving stands, and the earlier ball is held with it."""
    plant = stocked_plant()
    one, two = allot(plant, 2)
    plant.submit(engraving("U-1", one), engraving("U-2", two))
    read = plant.submit(inspection("U-2"))
    entered = plant.submit(correction((f"{read.at - 1}.0", engraving("U-1", two)), (read.address, None)))
    assert [("serial-twice", "unit:U-1"), ("serial-twice", "unit:U-2")] == [(b.code, b.node) for b in entered.breaches]
    check_views(plant)


def test_a_lot_that_was_entered_later_may_be_named() -> None:
    """The right core lot was told only in the morning: it is folded before the pour that takes from it."""
    plant = stocked_plant()
    plant.submit(blocks("BL-2", 20))
    plant.submit(cores("CL-2", ("BL-2", 20)))
    assert [] == plant.submit(correction(("6.0", shells("SL-1", ("CL-2", 20))))).codes
    assert [20, 0] == [left_of(plant.row(Lot, lot)) for lot in ("CL-1", "CL-2")]
    split = plant.submit(LotSplit(at=at(8), lot="CL-1", into="CL-3", count=5))
    plant.submit(cores("CL-4", ("BL-1", 6)), LotRecounted(at=at(9), lot="CL-4", left=9, reason="count"))
    plant.submit(correction((split.address, LotSplit(at=at(8), lot="CL-4", into="CL-3", count=5))))
    assert [20, 5, 9] == [left_of(plant.row(Lot, lot)) for lot in ("CL-1", "CL-3", "CL-4")]
    check_views(plant)


def test_nobody_lifts_in_the_name_of_another() -> None:
    """A lift or a concession is replaced by its author alone; anybody may withdraw it."""
    plant = stocked_plant()
    for hold in ("H-1", "H-2"):
        plant.submit(HoldPlaced(at=at(9), hold=hold, reason="void", node="lot:SL-1", recall=hold == "H-2"))
    lift = plant.submit(HoldLifted(at=at(10), hold="H-1", reason="fine"), author="a-john")
    other = HoldLifted(at=at(10), hold="H-2", reason="fine")
    refusal = plant.refused(correction((lift.address, other)), author="a-mary")
    assert (RuleStands, "changes[0]") == (type(refusal), refusal.where)
    conceded = Concession(at=at(10), node="lot:SL-1", holds=("H-1",), reason="fine")
    assert RuleStands is type(plant.refused(correction((lift.address, conceded)), author="a-mary"))
    plant.submit(correction((lift.address, other)), author="a-john")
    assert ("a-john", True) == (plant.row(Hold, "H-2").lifted_by, plant.row(Hold, "H-2").open)
    plant.submit(correction((lift.address, None)), author="a-mary")
    assert "" == plant.row(Hold, "H-2").lifted_by
    check_views(plant)


def test_a_recall_does_not_go_by_correcting_it() -> None:
    """Neither withdrawn nor replaced by a plain hold."""
    plant = stocked_plant()
    hold: dict[str, Any] = {"at": at(9), "hold": "H-1", "reason": "void", "node": "lot:SL-1"}
    placed = plant.submit(HoldPlaced(**hold, recall=True))
    for change in (None, HoldPlaced(**hold)):
        refusal = plant.refused(correction((placed.address, change)))
        assert (RuleStands, "changes[0]") == (type(refusal), refusal.where)


def test_a_corrected_instant_is_marked_anew() -> None:
    """Late and doubtful follow the body that stands."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", at=at(4), began_at=at(4)), now=at(3))
    assert plant.row(FactRow, "4.0").doubtful
    plant.submit(correction(("4.0", blocks("BL-1", began_at=at(2, "20:00"), at=at(2, "20:10")))))
    assert (False, True) == (plant.row(FactRow, "4.0").doubtful, plant.row(FactRow, "4.0").late)
    check_views(plant)


def test_a_recheck_finds_the_broken_window_of_a_descendant() -> None:
    """The blocks were demoulded a day later than said; the cores poured of them had no rest. Found once."""
    plant = stocked_plant()
    plant.submit(LotWorked(at=at(9), began_at=at(9), lot="SL-1", step="turned", station="TURN-1"))
    corrected = plant.submit(correction(("4.0", blocks("BL-1", 20, began_at=at(4, "10:00"), at=at(4, "10:10")))))
    assert [] == corrected.codes
    again = Recheck(at=at(30), because=corrected.address, facts=("5.0", "6.0", "7.0", "3.0"))
    found = plant.submit(again)
    assert [("block-rest-short", "lot:CL-1", "4.0")] == [(b.code, b.node, b.fact) for b in found.breaches]
    assert plant.row(Hold, f"B{found.address}.0").open
    assert [] == plant.submit(again).codes
    plant.submit(correction(("4.0", blocks("BL-1", 20, began_at=at(4, "11:00"), at=at(4, "11:10")))))
    assert ["block-rest-short"] == plant.submit(again).codes
    check_views(plant)


def test_a_recheck_looks_at_balls_and_steps_too() -> None:
    """The shells were demoulded later than said: turning and engraving came before the cure was over."""
    plant = stocked_plant()
    turned = plant.submit(LotWorked(at=at(9), began_at=at(9), lot="SL-1", step="turned", station="TURN-1"))
    started = plant.submit(UnitStarted(at=at(9), unit="U-2", lot="SL-1", station="TURN-1"))
    engrave(plant, "U-1")
    engraved = f"{len(plant.entries) - 1}.0"
    late = shells("SL-1", ("CL-1", 20), began_at=at(8, "09:00"), at=at(8, "09:10"))
    plant.submit(correction(("6.0", late)))
    found = plant.submit(Recheck(at=at(30), because="6.0", facts=(turned.address, started.address, engraved)))
    assert ["lot:SL-1", "unit:U-1", "unit:U-2"] == sorted(breach.node for breach in found.breaches)
    assert {"final-cure-short"} == set(found.codes)


def test_replaced_plans_and_batches_keep_their_sealed_fields() -> None:
    """A replacement holds sealed fields of its own kind."""
    plant = ready_plant()
    entered = plant.submit(
        correction(("3.0", batch("MIX-B", ("RESIN", "150"), ("FILLER", "200"))), ("0.1", plan(windows=())))
    )
    assert b'"kg":{"sealed":' in plant.entries[entered.at]
    assert (350_000, 450_000) == (plant.row(Lot, "MIX-B").made, left_of(plant.row(Lot, "RESIN")))
    check_views(plant)


@pytest.mark.parametrize("withdrawn", [True, False])
def test_an_accepted_sample_that_is_taken_back_holds_its_lot(withdrawn: bool) -> None:  # noqa: FBT001  # a parameter
    """Balls may be released on it without a reading of their own: they leave only once that was looked into."""
    plant = stocked_plant()
    released_ball(plant)
    [judged] = [fact.address for fact in plant.facts() if isinstance(fact.record, SampleVerdict)]
    change = (
        Change(fact=judged) if withdrawn else Change(fact=judged, replacement=sample(accepted=False, nonconforming=1))
    )
    entered = plant.submit(Correction(at=at(20), reason="typing", changes=(change,)))
    assert ["sample-taken-back"] == entered.codes
    sent = Shipment(at=at(21), shipment="S-1", units=("U-1",), consignee="A lab", purpose="sale")
    assert "sample-taken-back" in str(plant.refused(sent))
    check_views(plant)


def test_a_sample_that_stays_accepted_holds_nothing() -> None:
    """Another count, the same answer."""
    plant = stocked_plant()
    released_ball(plant)
    [judged] = [fact.address for fact in plant.facts() if isinstance(fact.record, SampleVerdict)]
    change = Change(fact=judged, replacement=sample(n=4))
    assert [] == plant.submit(Correction(at=at(20), reason="typing", changes=(change,))).codes
