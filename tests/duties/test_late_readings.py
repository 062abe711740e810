"""A first-quality ball that fails by a reading after its release is held: once for a reading, and no other ball is."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.application.failing_readings import failing_units
from ledger.duties import late_readings as looks
from ledger.duties.late_readings import DUTY, FailingReading, late_readings
from ledger.duties.rechecks import DUTIES
from ledger.duties.runner import LEASE_MS, DutyRunner
from ledger.errors import RuleStands, UnknownSubject
from ledger.store.places import keep_place, read_place
from ledger.store.reader import Reader, open_reader
from tests.application.floor import Floor, at, corrected, inspected
from tests.application.late_balls import first_ball, late_holds, read_again, runner, sold


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant with one ball that is first quality."""
    made = Floor(tmp_path)
    made.line()
    first_ball(made, "U-1", "P-1")
    yield made
    made.book.close()


def placed(floor: Floor) -> int:
    """The place that the store keeps."""
    with open_reader(floor.book.store) as reader:
        return read_place(reader, DUTY)


def lifted(hold: str, hours: float = 130) -> dict[str, str]:
    """A hold is lifted."""
    return {"kind": "hold-lifted", "at": at(hours), "hold": hold, "reason": "looked-at"}


def regraded(unit: str) -> dict[str, str]:
    """A ball takes a lower grade."""
    return {"kind": "regrade", "at": at(125), "unit": unit, "grade": "second", "reason": "soft"}


def test_a_failing_reading_after_the_release_holds_the_ball_once(floor: Floor) -> None:
    """The hold stops release and shipment, is the duties' own, and is named after the reading; the next turn says nothing."""
    one = runner(floor)
    assert 0 == one.turn()
    read = read_again(floor, "U-1")
    assert [1, 0, 0] == [one.turn() for _ in range(3)]
    assert [(f"READING-{read}", "release,shipment", True)] == late_holds(floor, "U-1")
    last = floor.book.entry(floor.book.standing().entries - 1).entry
    assert (DUTIES, "hold-placed") == (last["author"], last["said"]["records"][0]["kind"])


@pytest.mark.parametrize("hardness", ["74", "80"])
def test_a_reading_that_conforms_holds_nothing(floor: Floor, hardness: str) -> None:
    """A ball may be read again."""
    read_again(floor, "U-1", hardness=hardness)
    assert (0, []) == (runner(floor).turn(), late_holds(floor, "U-1"))


def test_a_reading_that_does_not_stand_holds_nothing(floor: Floor) -> None:
    """One that was taken before the standing one, and reported late, takes nothing's place."""
    read_again(floor, "U-1", hours=70.5)
    assert (0, []) == (runner(floor).turn(), late_holds(floor, "U-1"))


def test_other_grades_and_balls_that_are_not_released_are_let_alone(floor: Floor) -> None:
    """They were let out as what they are, or are judged when they are released."""
    floor.ball("U-2", "P-2")
    floor.ball("U-3", "P-3")
    floor.book.release(["U-2"], "second", "second", floor.lead).result(30)
    for unit in ("U-2", "U-3"):
        read_again(floor, unit)
    assert 0 == runner(floor).turn()


def test_a_ball_that_has_left_is_held_too(floor: Floor) -> None:
    """It may come back, and whoever looks at it now is told."""
    floor.say(sold("S-1", "U-1"))
    read_again(floor, "U-1", hours=130)
    assert 1 == runner(floor).turn()
    assert [("release,shipment", True)] == [one[1:] for one in late_holds(floor, "U-1")]


def test_a_reading_that_is_corrected_after_the_release_holds_too(floor: Floor) -> None:
    """The hold is named after the correction that states it; one that was corrected to what is good asks for none."""
    (read,) = [one.fact for one in floor.book.ball("U-1").history if one.kind == "inspection"]
    wrong = floor.say(corrected({"fact": read, "replacement": inspected("U-1", 71, hardness="60")})).addresses[0]
    one = runner(floor)
    assert 1 == one.turn()
    assert [f"READING-{wrong}.0"] == [hold for hold, _, _ in late_holds(floor, "U-1")]
    floor.say(corrected({"fact": read, "replacement": inspected("U-1", 71, hardness="75")}, hours=201))
    assert 0 == one.turn()


def test_an_older_reading_that_stands_again_holds(floor: Floor) -> None:
    """A good reading hid a failing one, and is withdrawn before anybody looked."""
    failing, good = read_again(floor, "U-1", 90), read_again(floor, "U-1", 91, "75")
    floor.say(corrected({"fact": good}))
    assert 1 == runner(floor).turn()
    assert [f"READING-{failing}"] == [hold for hold, _, _ in late_holds(floor, "U-1")]


def test_the_hold_is_not_lifted_while_the_ball_is_first_quality_and_fails(floor: Floor) -> None:
    """Not before it is there either; once the ball has another grade it is, and does not come back for the reading."""
    read = read_again(floor, "U-1")
    with pytest.raises(UnknownSubject):
        floor.say(lifted(f"READING-{read}"))
    one = runner(floor)
    one.turn()
    with pytest.raises(RuleStands, match="not shown to be so"):
        floor.say(lifted(f"READING-{read}"))
    floor.say(regraded("U-1"))
    floor.say(lifted(f"READING-{read}"))
    assert (0, [False]) == (one.turn(), [is_open for _, _, is_open in late_holds(floor, "U-1")])


def test_a_lifted_hold_does_not_come_back_for_its_reading(floor: Floor) -> None:
    """Of a ball that is away it is lifted freely; a new look from the beginning places none, another reading does."""
    floor.say(sold("S-1", "U-1"))
    read = read_again(floor, "U-1", hours=130)
    one = runner(floor)
    one.turn()
    floor.say(lifted(f"READING-{read}", 140))
    keep_place(floor.book.store, DUTY, 0)
    assert 0 == one.turn()
    read_again(floor, "U-1", hours=150)
    assert [1, 2] == [one.turn(), len(late_holds(floor, "U-1"))]


def test_a_withdrawn_hold_does_not_stop_the_look(floor: Floor) -> None:
    """Its key was used, so it is not said again, and the look goes on behind it."""
    read_again(floor, "U-1")
    one = runner(floor)
    one.turn()
    placing = f"{floor.book.standing().entries - 1}.0"
    floor.say(corrected({"fact": placing}))
    assert [0, floor.book.standing().entries] == [one.turn(), placed(floor)]


def test_a_new_process_goes_on_from_the_kept_place(floor: Floor) -> None:
    """The place moves once all below it is said; what came while nobody looked is found."""
    one = runner(floor)
    one.turn()
    kept = placed(floor)
    read_again(floor, "U-1")
    one.turn()
    assert kept == placed(floor)
    one.turn()
    assert floor.book.standing().entries == placed(floor)
    first_ball(floor, "U-2", "P-2")
    read_again(floor, "U-2")
    floor.now_ms += LEASE_MS
    assert [1, 0] == [runner(floor, "two").turn(), one.turn()]


def test_a_look_is_bounded(floor: Floor, monkeypatch: pytest.MonkeyPatch) -> None:
    """A long book takes several turns, each from where the last one ended, and each judges only what was read in it."""
    asked: list[list[str]] = []

    def failing(reader: Reader, units: list[str]) -> list[FailingReading]:
        asked.append(list(units))
        return failing_units(reader, units)

    read_again(floor, "U-1")
    size = floor.book.standing().entries
    monkeypatch.setattr(looks, "MOST_ENTRIES", size - 1)
    places = []
    for _ in range(2):
        with open_reader(floor.book.store) as reader:
            look = late_readings(reader, floor.now_ms, failing)  # type: ignore[arg-type]  # a list is a sequence
        keep_place(floor.book.store, DUTY, look.place)
        places.append((look.place, look.moved, len(look.due)))
    assert [(size - 1, True, 0), (size, True, 1)] == places
    assert [["U-1"]] == asked


def test_a_runner_without_a_judge_looks_for_none(floor: Floor) -> None:
    """Nothing is held, and no place is kept."""
    read_again(floor, "U-1")

    def say(_submission: object) -> None:
        raise AssertionError

    one = DutyRunner(floor.book.store, say, holder="one", clock_ms=floor.clock, every_s=3_600)
    assert (0, 0) == (one.turn(), placed(floor))
