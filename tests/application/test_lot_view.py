"""One lot, what is above it, and what is below it."""

from __future__ import annotations

import pytest

from ledger.errors import NotFound
from tests.application.floor import Floor, at, blocks, cores, engraved, held, shells, worked


@pytest.fixture
def mixed_rack(floor: Floor) -> Floor:
    """SL-1 holds cores of CL-1 (places 1 to 20) and CL-2 (21 to 40); SL-2 holds both, nobody knows which where."""
    floor.stock(80)
    floor.say(blocks("BL-2", 3, 40, rejects=2))
    floor.say(cores("CL-1", 30, ("BL-1", 40)), cores("CL-2", 30, ("BL-2", 40)))
    floor.say(shells("SL-1", 40, ("CL-1", 20, 1, 20), ("CL-2", 20, 21, 40)))
    floor.say(shells("SL-2", 40, ("CL-1", 10), ("CL-2", 10)))
    return floor


def test_the_account_of_a_lot_adds_up(mixed_rack: Floor) -> None:
    """Made, rejects, used, lost and adjusted pieces are told, and what is left follows from them."""
    lost = {"kind": "pieces-lost", "at": at(60), "lot": "BL-1", "count": 3, "how": "scrap", "reason": "chipped"}
    recounted = {"kind": "lot-recounted", "at": at(61), "lot": "BL-1", "left": 35, "reason": "stocktaking"}
    mixed_rack.say(lost)
    mixed_rack.say(recounted)
    account = mixed_rack.book.lot("BL-1").account
    assert ("pieces", 80, 0, -2, 40, 3, 35) == (
        account.unit, account.made, account.rejects, account.adjusted, account.used, account.lost, account.left,
    )  # fmt: skip
    assert 2 == mixed_rack.book.lot("BL-2").account.rejects


def test_materials_are_counted_in_grams(mixed_rack: Floor) -> None:
    """A drum's account is in grams: 500 kg, less a batch of 200 kg and two colours of 20 kg."""
    account = mixed_rack.book.lot("DRUM").account
    assert ("g", 500_000, 240_000, 260_000) == (account.unit, account.made, account.used, account.left)


def test_an_overdrawn_lot_is_below_zero(ready: Floor) -> None:
    """What was used beyond what there was is told as it is."""
    ready.say(cores("CL-9", 60, ("BL-1", 5)))
    assert -5 == ready.book.lot("BL-1").account.left


def test_a_lot_tells_what_it_is_and_what_was_done_to_it(ready: Floor) -> None:
    """Model, revision, class, GTIN, instants, steps in order, closing and history belong to a shell lot."""
    ready.say(worked("SL-1", "turned", 66))
    ready.say(worked("SL-1", "hole-drilled", 42))
    lot = ready.book.lot("SL-1")
    assert ("shell", "M1", 1, 15, "09521234543213") == (
        lot.stage, lot.model, lot.revision, lot.weight_class_lb, lot.gtin,
    )  # fmt: skip
    assert (at(40), at(40.25), False) == (lot.began_at, lot.ended_at, lot.closed)
    assert [("hole-drilled", at(42), at(42.5)), ("turned", at(66), at(66.5))] == [
        (step.step, step.began_at, step.ended_at) for step in lot.steps
    ]
    assert ["shells-poured", "lot-worked", "lot-worked"] == [told.kind for told in lot.history]


def test_holds_on_a_lot_are_its_own_and_those_by_rule(ready: Floor) -> None:
    """A hold on the lot and one whose rule takes it in are told; one on the lot above is told there."""
    ready.say(held("H-1", 101, node="lot:SL-1"), held("H-2", 102, node="lot:CL-1"))
    ready.say(held("H-3", 103, rule={"stage": "shell"}), held("H-4", 104, rule={"stage": "core"}))
    assert ["H-1", "H-3"] == [hold.hold for hold in ready.book.lot("SL-1").holds]
    above = {lot.lot: lot.open_holds for lot in ready.book.above("SL-1").lots}
    assert {"CL-1": ("H-2", "H-4"), "BL-1": (), "MIX": (), "DRUM": ()} == above


def test_samples_of_a_lot_are_told(ready: Floor) -> None:
    """A judged sample is part of the lot."""
    said = {"kind": "sample-judged", "at": at(60), "lot": "SL-1", "quantity": "hardness", "n": 3, "nonconforming": 1}
    ready.say({**said, "accepted": False, "rests_on": "a" * 64})
    assert [("hardness", 3, 1, False)] == [
        (one.quantity, one.n, one.nonconforming, one.accepted) for one in ready.book.lot("SL-1").samples
    ]


def test_an_unknown_lot_is_not_found(ready: Floor) -> None:
    """A lot that the book does not know is said to be none, in whichever direction one looks."""
    for look in (ready.book.lot, ready.book.above, ready.book.below):
        with pytest.raises(NotFound, match="SL-9"):
            look("SL-9")


def test_above_tells_part_amount_and_certainty(mixed_rack: Floor) -> None:
    """Each lot above comes with the part that it went into, and how much of it was drawn by this lot's own ancestors."""
    above = {lot.lot: (lot.level, lot.certainty, lot.parts, lot.drawn) for lot in mixed_rack.book.above("SL-2").lots}
    assert {
        "CL-1": (1, "possible", ("core",), 10),
        "CL-2": (1, "possible", ("core",), 10),
        "BL-1": (2, "possible", ("block",), 40),
        "BL-2": (2, "possible", ("block",), 40),
        "MIX": (2, "certain", ("compound",), 190_000),
        "DRUM": (1, "certain", ("colour", "material"), 220_000),
    } == above


def test_below_goes_to_every_ball_with_certainty(mixed_rack: Floor) -> None:
    """A ball below a core lot is certain by its place, possible without one, and not there where its place clears it."""
    mixed_rack.say(engraved("U-1", "P-1", place=20), engraved("U-2", "P-2", place=21), engraved("U-3", "P-3"))
    mixed_rack.say(engraved("U-4", "P-4", lot="SL-2"))
    below = mixed_rack.book.below("CL-1")
    assert {"U-1": "certain", "U-3": "possible", "U-4": "possible"} == {
        ball.unit: ball.certainty for ball in below.balls
    }
    assert {"certain engraved": 1, "possible engraved": 2} == below.counts
    assert [("SL-1", "possible", 1), ("SL-2", "possible", 1)] == [
        (lot.lot, lot.certainty, lot.level) for lot in below.lots
    ]
    assert {"certain engraved": 4} == mixed_rack.book.below("DRUM").counts


def test_below_counts_by_state_and_says_who_has_them(ready: Floor) -> None:
    """Balls below are counted by certainty and state, and those that left are told with their shipment."""
    for number in range(4):
        ready.ball(f"U-{number}", f"P-{number}")
    ready.say({"kind": "scrap", "at": at(80), "unit": "U-0", "how": "destructive-test", "reason": "cut-open"})
    sent = {"kind": "shipment", "at": at(81), "shipment": "S-1", "units": ["U-1"], "consignee": "A lab"}
    ready.say({**sent, "purpose": "test"})
    below = ready.book.below("BL-1")
    assert {"certain destroyed": 1, "certain engraved": 2, "certain shipped": 1} == below.counts
    assert {"U-1": "S-1"} == {ball.unit: ball.away for ball in below.balls if ball.away}


def test_below_a_shell_lot_are_its_own_balls_and_those_of_its_heirs(ready: Floor) -> None:
    """A lot that was split is asked for the balls of both parts; the part that went on is asked for its own."""
    ready.say({"kind": "lot-split", "at": at(50), "lot": "SL-1", "into": "SL-2", "count": 5})
    ready.say(engraved("U-1", "P-1"), engraved("U-2", "P-2", lot="SL-2"))
    found = {lot: {ball.unit for ball in ready.book.below(lot).balls} for lot in ("SL-1", "SL-2")}
    assert {"SL-1": {"U-1", "U-2"}, "SL-2": {"U-2"}} == found
