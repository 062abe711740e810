"""The web of lots against the walks that it is built on, what its lines add up to, and where it stops."""

from __future__ import annotations

from collections import Counter

import pytest

from ledger.application.ball_story import ball_story
from ledger.application.lot_story import balls_below, lot_story, lots_named_like, newest_lots
from ledger.application.lot_view import lot_above, lot_below
from ledger.application.trace_web import TraceWeb, trace_web
from ledger.errors import NotFound
from ledger.line.lots import left_of
from ledger.line.rows import Lot
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, blocks, cores, shells

LOTS = ("DRUM", "MIX", "BL-1", "BL-2", "CL-1", "CL-2", "SL-1", "SL-2")


@pytest.fixture
def mixed_floor(floor: Floor) -> Floor:
    """A floor with a shell lot of two core lots, and three balls."""
    floor.line(40)
    floor.say(blocks("BL-2", 4, 30))
    floor.say(cores("CL-2", 31, ("BL-2", 30)))
    floor.say({"kind": "lot-recounted", "at": at(41), "lot": "CL-1", "left": 10, "reason": "found"})
    floor.say(shells("SL-2", 42, ("CL-1", 10), ("CL-2", 20)))
    for number in range(3):
        floor.ball(f"U-{number}", f"P{number}")
    return floor


def web_of(floor: Floor, lot: str, direction: str, most: int = 400) -> TraceWeb:
    """The web around a lot."""
    with open_reader(floor.book.store) as reader:
        return trace_web(reader, lot, direction, most=most)  # type: ignore[arg-type]  # one of the three


@pytest.mark.parametrize("lot", LOTS)
def test_a_web_is_what_the_walks_find(mixed_floor: Floor, lot: str) -> None:
    """Up it has the lots and certainties of what is above, down of what is below, both ways the two together."""
    with open_reader(mixed_floor.book.store) as reader:
        above = {one.lot: one.certainty for one in lot_above(reader, lot).lots}
        below = {one.lot: one.certainty for one in lot_below(reader, lot).lots}
    own = {lot: "certain"}
    for direction, expected in (("up", own | above), ("down", own | below), ("both", own | above | below)):
        web = web_of(mixed_floor, lot, direction)
        assert expected == {one.lot: one.certainty for one in web.lots}
        assert web.whole


@pytest.mark.parametrize("lot", LOTS)
def test_lines_add_up_to_the_account(mixed_floor: Floor, lot: str) -> None:
    """Down from a lot, the lines of each lot say together what its account has as used; of shells, the rest are balls."""
    web = web_of(mixed_floor, lot, "down")
    drawn = Counter[str]()
    for line in web.lines:
        drawn[line.parent] += line.amount
    for one in web.lots:
        balls = 0
        if one.stage == "shell":
            with open_reader(mixed_floor.book.store) as reader:
                balls = balls_below(reader, one.lot).total
        assert one.used == drawn[one.lot] + balls
        assert one.made - one.used == one.left or one.lot == "CL-1"


def test_a_line_is_possible_where_another_could_have_been_taken(mixed_floor: Floor) -> None:
    """Each core lot of two is possible by its line, what every piece has is certain, and above the cores all is possible."""
    lines = {(line.parent, line.child): line.certainty for line in web_of(mixed_floor, "SL-2", "up").lines}
    assert ("possible", "possible") == (lines["CL-1", "SL-2"], lines["CL-2", "SL-2"])
    assert "possible" == lines["BL-2", "CL-2"]
    down = {(line.parent, line.child): line.certainty for line in web_of(mixed_floor, "BL-2", "down").lines}
    assert {("BL-2", "CL-2"): "certain", ("CL-2", "SL-2"): "possible"} == down


def test_a_walk_stops_and_says_so(mixed_floor: Floor) -> None:
    """Beyond the lots that are asked for nothing more is read, and every line has both its ends."""
    web = web_of(mixed_floor, "DRUM", "down", most=1)
    assert not web.whole
    names = {one.lot for one in web.lots}
    assert {"DRUM": "certain", "MIX": "certain", "SL-1": "certain", "SL-2": "certain"} == {
        one.lot: one.certainty for one in web.lots
    }
    assert all({line.parent, line.child} <= names for line in web.lines)


def test_balls_below_are_those_that_are_listed(mixed_floor: Floor) -> None:
    """By certainty and state, for every lot."""
    with open_reader(mixed_floor.book.store) as reader:
        for lot in LOTS:
            counted = {
                f"{sure} {state}": n
                for sure, states in balls_below(reader, lot).counts.items()
                for state, n in states.items()
            }
            assert lot_below(reader, lot).counts == counted


def test_lots_come_newest_first_and_page_by_page(mixed_floor: Floor) -> None:
    """Each lot of a stage comes once, by when it was begun; an id is found by its beginning."""
    with open_reader(mixed_floor.book.store) as reader:
        first = newest_lots(reader, "core")
        assert ["CL-2", "CL-1"] == [row.lot for row in first.lots]
        rest = newest_lots(reader, "core", (first.lots[0].began_ms, first.lots[0].lot))
        assert ["CL-1"] == [row.lot for row in rest.lots]
        assert {"BL-1", "BL-2"} == {row.lot for row in lots_named_like(reader, "BL").lots}


def test_a_lots_story_has_its_windows_and_what_may_not_be_done_yet(mixed_floor: Floor) -> None:
    """The rest that ended is a window with its end; one that is still asked for has its earliest time."""
    with open_reader(mixed_floor.book.store) as reader:
        story = lot_story(reader, "BL-1", mixed_floor.now_ms)
        assert ["block-demould", "block-rest"] == [cure.stage for cure in story.cures]
        assert all(cure.kept for cure in story.cures)
        row = reader.one(Lot, "SL-2")
        assert row is not None
        assert left_of(row) == 30
        early = lot_story(reader, "SL-2", row.ended_ms + 3_600_000)
        assert early.resting is not None
        assert row.ended_ms + 24 * 3_600_000 == early.resting.earliest_ms


def test_a_balls_story_has_steps_readings_and_lots(mixed_floor: Floor) -> None:
    """Each fact about the ball is a step, its lots are those that it is made of, and what stands is told as standing."""
    mixed_floor.say({"kind": "hold-placed", "at": at(80), "hold": "H-1", "reason": "dent", "node": "unit:U-1"})
    with open_reader(mixed_floor.book.store) as reader:
        story = ball_story(reader, "U-1")
        assert {told.fact for told in story.ball.history} <= {step.fact for step in story.steps}
        assert {"SL-1", "CL-1", "BL-1"} == set(story.lots)
        assert ["dent"] == [hold.reason for hold in story.holds]
        assert {reading.quantity: reading.fact for reading in story.ball.readings} == {
            taken.quantity: taken.fact for taken in story.taken if taken.became == "stands"
        }


def test_an_unknown_lot_has_no_web(floor: Floor) -> None:
    """It is not found."""
    with open_reader(floor.book.store) as reader, pytest.raises(NotFound):
        trace_web(reader, "NONE")
