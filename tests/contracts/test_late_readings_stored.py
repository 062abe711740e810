"""A reading after a release on each database: the shipment is refused, the ball held, and its way back told."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.application.failing_readings import failing_units
from ledger.duties.late_readings import DUTY, late_readings
from ledger.errors import RuleStands
from ledger.store.places import keep_place, read_place
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, inspected
from tests.application.late_balls import first_ball, late_holds, read_again, runner, sold


@pytest.fixture
def floor(url: str, tmp_path: Path) -> Iterator[Floor]:
    """Three balls that are first quality; the second has left."""
    made = Floor(tmp_path, url=url)
    made.line()
    for number in (1, 2, 3):
        first_ball(made, f"U-{number}", f"P-{number}")
    made.say(sold("S-2", "U-2"))
    yield made
    made.book.close()


def test_a_failing_reading_stops_the_ball_until_it_is_mended(floor: Floor) -> None:
    """Refused at once, held by the next turn, not lifted while it fails; reworked and released anew, it is sold."""
    one = runner(floor)
    one.turn()
    read = read_again(floor, "U-1")
    away = read_again(floor, "U-2", 130)
    with pytest.raises(RuleStands, match="may not leave for sale"):
        floor.say(sold("S-1", "U-1", "U-3"))
    assert [2, 0] == [one.turn(), one.turn()]
    assert [(f"READING-{read}", True), (f"READING-{away}", True)] == [
        (hold, is_open) for unit in ("U-1", "U-2") for hold, _, is_open in late_holds(floor, unit)
    ]
    lifted = {"kind": "hold-lifted", "at": at(140), "hold": f"READING-{read}", "reason": "reworked"}
    with pytest.raises(RuleStands, match="not shown to be so"):
        floor.say(lifted)
    floor.say({"kind": "rework", "at": at(141), "unit": "U-1", "operation": "resurface", "station": "R-1"})
    floor.say(lifted)
    floor.say(inspected("U-1", 142, hardness="75", roughness="40", circumference="26.85", out_of_round="0.004"))
    floor.say(inspected("U-1", 143, mass="15.1", rg_low="2.5", rg_high="2.54", top_weight="3"))
    floor.book.release(["U-1"], "first", "again", floor.lead).result(30)
    floor.say(sold("S-1", "U-1", "U-3"))
    assert (0, []) == (one.turn(), late_holds(floor, "U-3"))


def test_the_place_is_kept_in_the_store(floor: Floor) -> None:
    """It is 0 before the first look, and what it was set to last after that."""
    with open_reader(floor.book.store) as reader:
        assert 0 == read_place(reader, DUTY)
    for place in (7, 9):
        keep_place(floor.book.store, DUTY, place)
    with open_reader(floor.book.store) as reader:
        assert 9 == read_place(reader, DUTY)
        look = late_readings(reader, floor.now_ms, failing_units)
    assert (floor.book.standing().entries, True, []) == (look.place, look.moved, look.due)
