"""What happens in a plant, told from start to end: each story is one that the book must be able to hold."""

from __future__ import annotations

from typing import Any

from ledger.errors import RuleStands
from ledger.line.balls import BallEngravedAnew, UnitStarted
from ledger.line.claims import ClaimOpened
from ledger.line.corrections import Change, Correction, Recheck
from ledger.line.gauges import GaugeCalibrated
from ledger.line.holds import Concession, HoldLifted, HoldPlaced
from ledger.line.inspections import Inspection
from ledger.line.lineage import HoldRule, ancestors, lineage_needs
from ledger.line.lot_changes import (
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
from ledger.line.releases import Basis, Rework, Scrap
from ledger.line.rows import Descent, FactRow, Hold, Lot, SerialRow, Unit
from ledger.line.shipments import Restocked, Returned, Shipment
from ledger.line.state import State
from tests.line.independent_fold import check_views
from tests.line.making import (
    RULEBOOK,
    allot,
    at,
    blocks,
    cores,
    engrave,
    engraving,
    inspection,
    model,
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


def above(plant: Plant, lot: str) -> set[str]:
    """Every lot above a lot."""
    state = State()
    plant._load(state, lambda: lineage_needs([lot], state))
    return set(ancestors(state, lot)[1:])


def shipment(*units: str, purpose: Any = "sale", day: int = 12) -> Shipment:
    """Balls leave to a consignee."""
    return Shipment(at=at(day), shipment=f"SH-{day}", units=units, consignee="a shop in town", purpose=purpose)


def held_under(plant: Plant) -> list[tuple[str, str]]:
    """The open holds: node and reason."""
    return [(hold.node, hold.reason) for hold in plant.tables.listed()["Hold"] if isinstance(hold, Hold) and hold.open]


def test_a_mixed_rack() -> None:
    """One shell lot of two core lots, positions known: both are above it, each with its places."""
    plant = stocked_plant()
    plant.submit(blocks("BL-2", 8), cores("CL-2", ("BL-2", 8)))
    plant.submit(shells("SL-2", ("CL-2", 8, 1, 8), ("CL-1", 2, 9, 10), count=9, rejects=1))
    edges = plant.tables.where(Descent, "child", "SL-2")
    assert [("CL-2", 1, 8), ("CL-1", 9, 10)] == [(e.parent, e.first, e.last) for e in edges if e.part == "core"]
    assert {"BL-1", "BL-2", "CL-1", "CL-2"} < above(plant, "SL-2")
    assert [("lot:CL-1", "over-drawn")] == held_under(plant)
    check_views(plant)


def test_lots_split_and_merged_again() -> None:
    """A piece of the merged rack holds one lot or another; a hold on either reaches every ball of it."""
    plant = stocked_plant(count=12)
    plant.submit(LotSplit(at=at(7, "09:00"), lot="SL-1", into="SL-1A", count=5))
    plant.submit(blocks("BL-2", 8), cores("CL-2", ("BL-2", 8)))
    plant.submit(shells("SL-2", ("CL-2", 8)))
    parts = (PartOfLot(lot="SL-1A", count=5), PartOfLot(lot="SL-2", count=8))
    plant.submit(LotsMerged(at=at(7, "10:00"), lots=parts, into="SL-3"))
    assert {"merge"} == {edge.part for edge in plant.tables.where(Descent, "child", "SL-3")}
    assert [7, 0, 0, 13] == [left_of(plant.row(Lot, lot)) for lot in ("SL-1", "SL-1A", "SL-2", "SL-3")]
    engrave(plant, "U-1", lot="SL-3")
    plant.submit(inspection("U-1"), sample(lot="SL-3"))
    plant.submit(HoldPlaced(at=at(10), hold="H-1", reason="void", node="lot:CL-2"))
    assert "H-1" in str(plant.refused(release(plant, "U-1")))
    engrave(plant, "U-2", lot="SL-1")
    plant.submit(inspection("U-2"), sample())
    assert [] == plant.submit(release(plant, "U-2")).codes
    check_views(plant)


def test_the_pieces_of_a_lot_over_its_life() -> None:
    """Rejects, a sawn ball, a retained one, a recount with its reason: the account follows."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", 50, rejects=3))
    plant.submit(cores("CL-1", ("BL-1", 50), count=48, rejects=2))
    plant.submit(PiecesLost(at=at(6), lot="CL-1", count=1, how="destructive-test", reason="sawn"))
    plant.submit(PiecesLost(at=at(6), lot="CL-1", count=2, how="retained", reason="reference"))
    plant.submit(LotRecounted(at=at(6), lot="CL-1", left=44, reason="one-missing"))
    assert (48, -1, 0, 3, 44) == (
        plant.row(Lot, "CL-1").made,
        plant.row(Lot, "CL-1").adjusted,
        plant.row(Lot, "CL-1").used,
        plant.row(Lot, "CL-1").lost,
        left_of(plant.row(Lot, "CL-1")),
    )
    check_views(plant)


def test_a_sample_rejects_a_lot_which_is_then_screened() -> None:
    """Three of the lot are read, one fails; each ball is then read by itself, and the good ones are released."""
    plant = stocked_plant()
    for number in (1, 2):
        engrave(plant, f"U-{number}")
        plant.submit(inspection(f"U-{number}"))
    plant.submit(Inspection(at=at(9), station="QC-1", lot="SL-1", readings=(reading("hardness", "70"),)))
    assert RuleStands is type(plant.refused(sample(nonconforming=1)))
    plant.submit(sample(nonconforming=1, accepted=False))
    assert "readings" == plant.refused(release(plant, "U-1")).where
    plant.submit(inspection("U-1", reading("hardness", "76")))
    assert [] == plant.submit(release(plant, "U-1")).codes
    assert "readings" == plant.refused(release(plant, "U-2")).where
    check_views(plant)


def test_a_released_ball_is_worked_again() -> None:
    """Rework ends the release and voids what it changed; an end in scrap ends the ball."""
    plant = stocked_plant()
    released_ball(plant)
    plant.submit(Rework(at=at(12), unit="U-1", operation="resurface", station="POLISH-1"))
    assert RuleStands is type(plant.refused(shipment("U-1", day=13)))
    plant.submit(inspection("U-1", reading(value="15.05"), reading("hardness", "75"), at=at(13)))
    plant.submit(release(plant, "U-1", at=at(13)))
    plant.submit(Scrap(at=at(14), unit="U-1", how="destructive-test", reason="sawn"))
    assert ("destroyed", None) == (plant.row(Unit, "U-1").state, plant.row(Unit, "U-1").release)
    check_views(plant)


def test_a_ball_engraved_anew() -> None:
    """The old number leads to the ball, and so does the new one."""
    plant = stocked_plant()
    old, new = engrave(plant, "U-1"), allot(plant)[0]
    plant.submit(BallEngravedAnew(at=at(10), unit="U-1", serial=new, station="ENGRAVE-1", reason="slipped"))
    for serial in (old, new):
        assert ["U-1"] == [row.unit for row in plant.tables.where(SerialRow, "serial", serial)]
    check_views(plant)


def test_a_ball_of_second_quality_and_a_prototype() -> None:
    """A failing ball of an approved model is second; a good ball of an unapproved one is a prototype, never first."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    plant.submit(inspection("U-1"), sample())
    failing = (Basis(rulebook="body-a", digest=RULEBOOK, outcome="does_not_conform"),)
    assert RuleStands is type(plant.refused(release(plant, "U-1", bases=failing)))
    plant.submit(release(plant, "U-1", grade="second", bases=failing))
    plant.submit(model(model="COMET", gtin="09521234000020"), plan(model="COMET"))
    comet = f"{len(plant.entries) - 1}.1"
    plant.submit(blocks("BL-2", 1, model="COMET"), cores("CL-2", ("BL-2", 1), model="COMET"))
    plant.submit(shells("SL-2", ("CL-2", 1), model="COMET"))
    engrave(plant, "U-2", lot="SL-2")
    plant.submit(inspection("U-2"), sample(lot="SL-2"))
    assert "grade" == plant.refused(release(plant, "U-2", plan=comet)).where
    plant.submit(release(plant, "U-2", plan=comet, grade="prototype"))
    check_views(plant)


def test_a_wrong_lot_typed_all_night() -> None:
    """300 balls were registered on SL-1 and are of SL-2: one correction in the morning, in one entry."""
    plant = stocked_plant(count=300)
    plant.submit(blocks("BL-2", 300), cores("CL-2", ("BL-2", 300)))
    plant.submit(shells("SL-2", ("CL-2", 300)))
    changes = []
    for number, serial in enumerate(allot(plant, 300)):
        unit = f"U-{number:06d}"
        entered = plant.submit(engraving(unit, serial), inspection(unit))
        changes.append(Change(fact=entered.address, replacement=engraving(unit, serial, lot="SL-2")))
    assert [0, 300] == [left_of(plant.row(Lot, lot)) for lot in ("SL-1", "SL-2")]
    entered = plant.submit(Correction(at=at(10, "07:00"), reason="wrong-traveller", changes=tuple(changes)))
    assert ([], [300, 0]) == (entered.codes, [left_of(plant.row(Lot, lot)) for lot in ("SL-1", "SL-2")])
    assert {"SL-2"} == {unit.lot for unit in plant.tables.listed()["Unit"] if isinstance(unit, Unit)}
    check_views(plant)


def test_a_recall_by_rule() -> None:
    """All shells begun in a week, balls made later too; it takes two people to lift."""
    plant = stocked_plant()
    released_ball(plant)
    rule = HoldRule(stage="shell", began_from=at(7), began_to=at(14))
    plant.submit(HoldPlaced(at=at(11), hold="H-1", reason="cracks", rule=rule, recall=True))
    assert RuleStands is type(plant.refused(shipment("U-1")))
    lift = HoldLifted(at=at(12), hold="H-1", reason="not-ours")
    plant.submit(lift, author="a-mary")
    assert RuleStands is type(plant.refused(lift, author="a-mary"))
    assert RuleStands is type(plant.refused(shipment("U-1")))
    plant.submit(lift, author="a-john")
    plant.submit(shipment("U-1"))
    check_views(plant)


def test_a_closed_lot_and_a_ball_too_many() -> None:
    """The late ball is recorded and held; disposed of by a concession, it can be released."""
    plant = stocked_plant()
    serial = engrave(plant, "U-1")
    plant.submit(LotClosed(at=at(9), lot="SL-1", count=1, balls_root=balls_root([("U-1", serial)])))
    engrave(plant, "U-2")
    assert [("unit:U-2", "lot-closed")] == held_under(plant)
    plant.submit(inspection("U-2"), sample())
    [hold] = [hold.hold for hold in plant.tables.listed()["Hold"] if isinstance(hold, Hold)]
    assert RuleStands is type(plant.refused(release(plant, "U-2")))
    plant.submit(Concession(at=at(10), node="unit:U-2", holds=(hold,), reason="found-in-rack"))
    plant.submit(release(plant, "U-2"))
    check_views(plant)


def test_a_station_whose_clock_is_ahead() -> None:
    """Its report is taken and marked doubtful, and a cure that the error could change is undecided."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", began_at=at(3, "07:50"), at=at(3, "08:00")))
    stated = cores("CL-1", ("BL-1", 1), began_at=at(4, "08:05"), at=at(4, "08:30"), clock_error_s=600)
    assert ["cure-undecided"] == plant.submit(stated, now=at(4, "08:30")).codes
    measured = cores("CL-2", ("BL-1", 1), began_at=at(4, "08:05"), at=at(4, "08:30"))
    entered = plant.submit(measured, now=at(4, "08:20"))
    assert (["cure-undecided"], True) == (entered.codes, plant.row(FactRow, entered.address).doubtful)
    after = cores("CL-3", ("BL-1", 1), began_at=at(4, "08:15"), at=at(4, "08:40"))
    assert [] == plant.submit(after, now=at(4, "08:30")).codes
    plant.submit(shells("SL-1", ("CL-2", 1), began_at=at(4, "12:35"), at=at(4, "12:45")))
    assert ("lot:SL-1", "cure-undecided") in held_under(plant)
    check_views(plant)


def test_a_cure_over_the_night_of_the_clock_change() -> None:
    """24 h by the wall on 2026-03-29 in Berlin are 23 h: too short. In October they are 25 h, and 24 h are enough."""
    plant = stocked_plant()
    spring = {"began_at": "2026-03-28T19:50:00.000+01:00", "at": "2026-03-28T20:00:00.000+01:00"}
    autumn = {"began_at": "2026-10-24T19:50:00.000+02:00", "at": "2026-10-24T20:00:00.000+02:00"}
    plant.submit(plan(at=at(2), windows=tuple(w for w in _windows(plant) if w.stage == "final-cure")))
    plant.submit(shells("SL-2", ("CL-1", 2), **spring), shells("SL-3", ("CL-1", 1), **autumn))
    serials = allot(plant, 3)
    by_wall = engraving("U-1", serials[0], lot="SL-2", at="2026-03-29T20:00:00.000+02:00")
    assert ["final-cure-short"] == plant.submit(by_wall).codes
    assert [] == plant.submit(engraving("U-2", serials[1], lot="SL-2", at="2026-03-29T21:00:00.000+02:00")).codes
    assert [] == plant.submit(engraving("U-3", serials[2], lot="SL-3", at="2026-10-25T19:00:00.000+01:00")).codes


def _windows(plant: Plant) -> Any:
    fact = plant.fact("0.1")
    return fact.record.windows if fact is not None else ()  # type: ignore[attr-defined]  # a plan


def test_a_late_report() -> None:
    """Reported two hours after: entered, marked late, judged by when it was done."""
    plant = ready_plant()
    entered = plant.submit(blocks("BL-1"), now=at(3, "10:11"))
    assert ([], True) == (entered.codes, plant.row(FactRow, entered.address).late)
    assert not plant.row(FactRow, plant.submit(blocks("BL-2"), now=at(3, "10:11")).address).doubtful


def test_blocks_poured_before_their_rest() -> None:
    """Recorded, breached, held; the balls of it wait for a disposition, which is a concession with its reason."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", 5))
    early = plant.submit(cores("CL-1", ("BL-1", 5), began_at=at(3, "20:00"), at=at(3, "20:30")))
    assert ["block-rest-short"] == early.codes
    plant.submit(shells("SL-1", ("CL-1", 5)))
    engrave(plant, "U-1")
    plant.submit(inspection("U-1"), sample())
    assert "block-rest-short" == plant.refused(release(plant, "U-1")).got
    plant.submit(Concession(at=at(11), node="lot:CL-1", holds=(f"B{early.address}.0",), reason="sawn-and-sound"))
    plant.submit(release(plant, "U-1"))
    check_views(plant)


def test_a_gauge_overdue_and_then_found_good_or_wrong() -> None:
    """Readings between due date and calibration count once it was found good; found wrong, they never do."""
    for good in (True, False):
        plant = stocked_plant()
        engrave(plant, "U-1", at=at(205))
        assert ["gauge-unfit"] == plant.submit(inspection("U-1", at=at(206)), sample()).codes
        assert "past its due date" in str(plant.refused(release(plant, "U-1", at=at(207))))
        found = GaugeCalibrated(at=at(207), gauge="G-MASS", as_found_good=good, due_at=at(400))
        plant.submit(found)
        if good:
            plant.submit(release(plant, "U-1", at=at(208)))
        else:
            assert "found wrong afterwards" in str(plant.refused(release(plant, "U-1", at=at(208))))
            plant.submit(inspection("U-1", at=at(208)))
            plant.submit(release(plant, "U-1", at=at(208)))


def test_balls_that_leave_and_come_back() -> None:
    """Held: stays. Not for sale: leaves unreleased. Returned: its release is over until it is released again."""
    plant = stocked_plant()
    released_ball(plant)
    engrave(plant, "U-2")
    plant.submit(HoldPlaced(at=at(11), hold="H-1", reason="claims", node="unit:U-1"))
    assert RuleStands is type(plant.refused(shipment("U-1")))
    plant.submit(HoldLifted(at=at(12), hold="H-1", reason="unfounded"))
    plant.submit(shipment("U-1"))
    plant.submit(shipment("U-2", purpose="test", day=13))
    plant.submit(Returned(at=at(20), unit="U-1", reason="unsold"), Restocked(at=at(20), unit="U-1"))
    assert RuleStands is type(plant.refused(shipment("U-1", day=21)))
    plant.submit(release(plant, "U-1", at=at(21)))
    plant.submit(shipment("U-1", day=21))
    check_views(plant)


def test_claims_on_numbers_that_lead_nowhere_or_twice() -> None:
    """Neither is refused; each says what it is."""
    plant = stocked_plant()
    for unit in ("U-1", "U-2"):
        plant.submit(engraving(unit, "OLD-77", scheme="prior"))
    claims = [
        ClaimOpened(at=at(90), claim=f"C-{n}", mode="other", serial=serial, claimant="a name")
        for n, serial in enumerate(("NONE-1", "OLD-77"))
    ]
    assert ["claim-foreign-number", "claim-several-balls"] == plant.submit(*claims).codes
    check_views(plant)


def test_may_this_be_done_now() -> None:
    """The answer before the act: no, why, and the earliest instant; at that instant it is yes. Nothing is kept."""
    plant = ready_plant()
    plant.submit(blocks("BL-1"), blocks("BL-2", began_at=at(3, "09:00"), at=at(3, "09:10")))
    asked = cores("CL-1", ("BL-1", 1), ("BL-2", 1), began_at=at(4, "07:00"), at=at(4, "07:30"))
    before = plant.tables.listed()
    answer = plant.ask(asked, now=at(4, "07:00"))
    assert (False, ("block-rest-short", "block-rest-short"), at(4, "09:10")) == answer
    later = cores("CL-1", ("BL-1", 1), ("BL-2", 1), began_at=at(4, "09:10"), at=at(4, "09:40"))
    assert (True, (), None) == plant.ask(later, now=at(4, "09:10"))
    assert (False, ("unknown-subject",), None) == plant.ask(cores("CL-1", ("BL-9", 1)))
    assert before == plant.tables.listed()
    stocked = stocked_plant()
    started = UnitStarted(at=at(8, "07:00"), unit="U-1", lot="SL-1", station="TURN-1")
    assert (False, ("final-cure-short",), at(8, "08:10")) == stocked.ask(started)


def test_a_step_reported_with_a_worse_clock_may_be_asked_about() -> None:
    """Asking about a time to come is no clock error."""
    plant = stocked_plant()
    work = LotWorked(at=at(9), began_at=at(9), lot="SL-1", step="turned", station="TURN-1")
    assert (True, (), None) == plant.ask(work, now=at(7, "09:00"))


def test_a_correction_above_and_what_lies_below() -> None:
    """The block lot's time was wrong: the re-check holds the core lot, and the ball of it is not released."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    plant.submit(inspection("U-1"), sample())
    right = blocks("BL-1", 20, began_at=at(4, "20:00"), at=at(4, "20:10"))
    corrected = plant.submit(
        Correction(at=at(11), reason="wrong-day", changes=(Change(fact="4.0", replacement=right),))
    )
    assert [] == corrected.codes
    plant.submit(Recheck(at=at(11), because=corrected.address, facts=("5.0",)), author="a-duty")
    assert [("lot:CL-1", "block-rest-short")] == held_under(plant)
    assert RuleStands is type(plant.refused(release(plant, "U-1")))
    check_views(plant)
