"""An outside auditor looks at a granted part for a time, and each look is a fact of the book."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, LedgerError, MalformedRecord, RuleStands, UnknownSubject
from ledger.line.examination_rows import Examination
from ledger.line.examinations import ExaminationEnded, ExaminationGranted, Examined
from ledger.line.rows import About
from tests.line.making import at, engrave, stocked_plant
from tests.line.plant import Plant

AUDITOR = "a-auditor"


def granted(**fields: Any) -> ExaminationGranted:
    """The balls of SL-1, from day 20 to day 30."""
    said = {
        "at": at(15),
        "examination": "X-1",
        "account": AUDITOR,
        "from_at": at(20),
        "to_at": at(30),
        "lots": ("SL-1",),
    }
    return ExaminationGranted(**{**said, **fields})


def look(**fields: Any) -> Examined:
    """U-1 is looked at on day 21."""
    said = {"at": at(21), "examination": "X-1", "question": "ball", "named": ("U-1",), "balls": 1, "answer": "0" * 64}
    return Examined(**{**said, **fields})


@pytest.fixture
def plant() -> Plant:
    """A plant with one ball and a grant."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    plant.submit(granted())
    return plant


def test_look_in_its_time_is_entered_and_changes_nothing_else(plant: Plant) -> None:
    """It is told about the grant, with what was asked; the grant itself stays as it is."""
    before = plant.row(Examination, "X-1")
    entered = plant.submit(look(), author=AUDITOR, now=at(21))
    assert plant.row(Examination, "X-1") == before
    assert entered.address in [row.address for row in plant.tables.where(About, "node", "examination:X-1")]


@pytest.mark.parametrize(
    ("author", "day", "why"),
    [
        ("a-other", 21, "another account's"),
        (AUDITOR, 19, "not open now"),
        (AUDITOR, 31, "not open now"),
    ],
)
def test_look_is_refused_outside_the_grant(plant: Plant, author: str, day: int, why: str) -> None:
    """By another account, before it begins and after it ends nothing may be looked at, whatever instant is claimed."""
    with pytest.raises(RuleStands, match=why):
        plant.submit(look(), author=author, now=at(day))


@pytest.mark.parametrize("day", [20, 30])
def test_both_ends_of_the_grant_are_within_it(plant: Plant, day: int) -> None:
    """The first and the last instant count."""
    plant.submit(look(), author=AUDITOR, now=at(day))


def test_ended_grant_shows_nothing_more(plant: Plant) -> None:
    """Once ended, by the plant, every look is refused; it ends once."""
    plant.submit(ExaminationEnded(at=at(22), examination="X-1", reason="done"))
    with pytest.raises(RuleStands, match="was ended"):
        plant.submit(look(), author=AUDITOR, now=at(23))
    with pytest.raises(Contradiction, match="ended already"):
        plant.submit(ExaminationEnded(at=at(23), examination="X-1", reason="done"))


@pytest.mark.parametrize(
    ("fields", "error", "where"),
    [
        ({"examination": "X-1"}, Contradiction, "examination"),
        ({"lots": ()}, MalformedRecord, "models, lots, units"),
        ({"to_at": at(19)}, MalformedRecord, "to_at"),
        ({"to_at": at(113)}, MalformedRecord, "to_at"),
        ({"made_from": at(5), "made_to": at(4)}, MalformedRecord, "made_to"),
        ({"lots": ("SL-9",)}, UnknownSubject, "lots"),
        ({"lots": ("BL-1",)}, UnknownSubject, "lots"),
        ({"models": ("NONE",)}, UnknownSubject, "models"),
        ({"units": ("U-9",)}, UnknownSubject, "units"),
    ],
)
def test_grant_that_makes_no_sense_is_refused_by_its_field(
    plant: Plant, fields: dict[str, Any], error: type[LedgerError], where: str
) -> None:
    """An id in use, nothing named, a span that ends first or lasts too long, what the book does not hold."""
    with pytest.raises(error) as refused:
        plant.submit(granted(**{"examination": "X-2", **fields}))
    assert where in refused.value.where


def test_grant_of_exactly_92_days_is_taken(plant: Plant) -> None:
    """The longest span is within its bound."""
    plant.submit(granted(examination="X-2", to_at=at(112)))
    row: Examination = plant.row(Examination, "X-2")
    assert row.to_ms - row.from_ms == 92 * 86_400_000


def test_unknown_examination_is_named(plant: Plant) -> None:
    """Neither ended nor looked at."""
    with pytest.raises(UnknownSubject, match="X-7"):
        plant.submit(ExaminationEnded(at=at(22), examination="X-7", reason="done"))
    with pytest.raises(UnknownSubject, match="X-7"):
        plant.submit(look(examination="X-7"), author=AUDITOR, now=at(21))
