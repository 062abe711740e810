"""After the range of a gauge is corrected, the readings outside it are looked at again, once."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.duties import rechecks
from ledger.line.reading_rows import Gauge
from ledger.store.reader import open_reader
from tests.application.floor import Floor, corrected, inspected, registered
from tests.duties.test_rechecks import due, enter, facts_of

WEIGHED = "15.1"
"""What every ball of the floor weighs, in lb."""


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant with a shell lot and three balls, all weighed on one scale."""
    made = Floor(tmp_path)
    made.line()
    for number in range(1, 4):
        made.ball(f"U-{number}", f"P-{number}")
    yield made
    made.book.close()


def reading_of(floor: Floor, unit: str) -> str:
    """The fact that holds the readings of a ball."""
    return next(told.fact for told in floor.book.ball(unit).history if told.kind == "inspection")


def put_right(floor: Floor, **ends: str) -> str:
    """The range of the scale is corrected; the correction."""
    with open_reader(floor.book.store) as reader:
        scale = reader.one(Gauge, "G-MASS")
    assert scale is not None
    return floor.say(corrected({"fact": scale.address, "replacement": {**registered("mass"), **ends}})).addresses[0]


def test_readings_outside_a_corrected_range_are_found_once(floor: Floor, monkeypatch: pytest.MonkeyPatch) -> None:
    """Those entered before it, each by itself; they hold their balls, and are due no more."""
    monkeypatch.setattr(rechecks, "_READ_AT_ONCE", 2)
    floor.say(inspected("U-2", 72, mass="14.9"))
    put_right(floor, high="15")
    found = due(floor)
    assert [reading_of(floor, unit) for unit in ("U-1", "U-2", "U-3")] == facts_of(found)
    (breaches,) = enter(floor, found[0]).breaches
    assert [("outside-gauge-range", "unit:U-1"), ("outside-gauge-range", "unit:U-3")] == [
        (breach.code, breach.node) for breach in breaches
    ]
    assert ["outside-gauge-range"] == [hold.reason for hold in floor.book.ball("U-1").holds]
    assert () == floor.book.ball("U-2").holds
    assert [] == due(floor)


@pytest.mark.parametrize("ends", [{}, {"high": "16"}, {"low": WEIGHED}])
def test_readings_inside_it_ask_for_nothing(floor: Floor, ends: dict[str, str]) -> None:
    """Nor does a correction that states no range."""
    done: set[str] = set()
    correction = put_right(floor, **ends)
    assert ([], {correction}) == (due(floor, done), done)
