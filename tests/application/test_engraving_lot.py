"""A lot at the engraving station, and the list of what is to be read of its balls."""

from __future__ import annotations

import pytest

from ledger.application.engraving_lot import engraving_lot
from ledger.application.inspection_list import balls_to_read, inspection_list
from ledger.errors import Contradiction, NotFound
from ledger.store.reader import open_reader
from tests.application.floor import GOOD, Floor, at, engraved, gauge_of, held, inspected, plan


def test_a_lot_says_what_is_left_and_what_waits(ready: Floor) -> None:
    """Balls that were started wait for a number in the order of their places, with the steps done to them."""
    for number in (2, 1):
        ready.say({"kind": "unit-started", "at": at(70), "unit": f"T-{number}", "lot": "SL-1", "station": "W-1",
                   "place": number})  # fmt: skip
    ready.say({"kind": "unit-worked", "at": at(71), "unit": "T-1", "step": "cg-marked", "station": "W-1"})
    ready.say(engraved("U-3", "P-3", 72, place=3))
    ready.say(held("H-1", node="lot:SL-1"))
    with open_reader(ready.book.store) as reader:
        seen = engraving_lot(reader, "SL-1", "E-1")

    assert (37, 1, 2, 4) == (seen.left, seen.engraved, seen.waiting_count, seen.next_place)
    assert [("T-1", ("started", "cg-marked")), ("T-2", ("started",))] == [(one.unit, one.steps) for one in seen.waiting]
    assert ["H-1"] == [hold.hold for hold in seen.holds]
    assert seen.last is not None
    assert ("U-3", "P-3") == (seen.last.unit, seen.last.serial)


def test_the_last_ball_is_that_of_the_station_with_what_was_wrong(ready: Floor) -> None:
    """Another station's ball is not shown as one's own; a breach of one's own stands beside it."""
    ready.say(engraved("U-1", "P-1", 50))
    with open_reader(ready.book.store) as reader:
        own, other = engraving_lot(reader, "SL-1", "E-1").last, engraving_lot(reader, "SL-1", "E-2").last
    assert other is None
    assert own is not None
    assert ["final-cure" in said for said in own.breaches] == [True]


def test_places_are_counted_on_only_where_all_balls_have_one(ready: Floor) -> None:
    """One ball without a place, and no place is proposed."""
    ready.say(engraved("U-1", "P-1", place=1))
    with open_reader(ready.book.store) as reader:
        assert 2 == engraving_lot(reader, "SL-1", "E-1").next_place
    ready.say(engraved("U-2", "P-2"))
    with open_reader(ready.book.store) as reader:
        assert engraving_lot(reader, "SL-1", "E-1").next_place is None


def test_only_a_shell_lot_is_engraved(ready: Floor) -> None:
    """A core lot is another stage's, and an unknown one is not found."""
    with open_reader(ready.book.store) as reader:
        with pytest.raises(Contradiction, match="another stage"):
            engraving_lot(reader, "CL-1", "E-1")
        with pytest.raises(NotFound):
            engraving_lot(reader, "SL-404", "E-1")


def test_the_list_names_what_the_plan_asks_and_what_is_missing(ready: Floor) -> None:
    """What was read is not missing; a sample counts the lot's balls; what a gauge is there for comes after the plan."""
    inspect = [
        {"quantity": "mass", "every": "unit"},
        {"quantity": "hardness", "every": "unit"},
        {"quantity": "roughness", "every": "sample", "n": 5, "accept": 0, "reject": 1},
        {"quantity": "friction", "every": "model", "n": 3, "accept": 0},
    ]
    ready.say(plan("M1", at=at(60), inspect=inspect))
    ready.say(engraved("U-1", "P-1"), inspected("U-1", mass="15.1", roughness="40"))
    with open_reader(ready.book.store) as reader:
        seen = inspection_list(reader, "U-1", ready.clock())
        balls = balls_to_read(reader, "SL-1")

    asked = {one.quantity: one for one in seen.asked}
    assert ["mass", "hardness", "roughness", "friction"] == list(asked)[:4]
    assert [False, True, False, False] == [asked[q].needed for q in list(asked)[:4]]
    assert (1, 5) == (asked["roughness"].taken, asked["roughness"].n)
    assert "rg_low" in asked
    assert ["G-HARDNESS"] == [gauge.gauge for gauge in asked["hardness"].gauges]
    assert [("U-1", ("hardness",))] == [(ball.unit, ball.missing) for ball in balls]


def test_a_reading_that_may_not_be_used_is_missing_still(ready: Floor) -> None:
    """The gauge's fault puts the ball back among those that lack readings; a ball that was scrapped is not listed."""
    ready.say({"kind": "gauge-faulted", "at": at(60), "gauge": gauge_of("mass"), "reason": "dropped"})
    ready.say(engraved("U-1", "P-1"), inspected("U-1", 71, **GOOD))
    ready.say(engraved("U-2", "P-2"))
    ready.say({"kind": "scrap", "at": at(90), "unit": "U-2", "how": "scrap", "reason": "cracked"})
    with open_reader(ready.book.store) as reader:
        assert [("U-1", ("mass",))] == [(ball.unit, ball.missing) for ball in balls_to_read(reader, "SL-1")]
        assert () == balls_to_read(reader, "BL-1")
