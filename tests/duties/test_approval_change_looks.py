"""The duty that enters changes of approval files: once each, under its own name, and only where something matters."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest

from ledger.application.approval_changes import due_changes
from ledger.duties.approval_changes import ApprovalChanges, DueChange
from ledger.duties.rechecks import DUTIES
from ledger.duties.runner import DutyRunner
from ledger.line.submission import Submission
from ledger.store.reader import Reader, open_reader
from tests.application.approved import handed_file, view
from tests.application.floor import Floor, at, engraved, model, plan


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant with one file handed over."""
    made = Floor(tmp_path)
    made.line()
    handed_file(made)
    yield made
    made.book.close()


def runner(floor: Floor) -> DutyRunner:
    """A runner as a service wires it; its turns are called by hand."""

    def say(submission: Submission) -> Any:
        return floor.book._writer.submit(submission, DUTIES)

    return DutyRunner(floor.book.store, say, holder="one", clock_ms=floor.clock, every_s=3_600, changes=due_changes)


def test_a_change_is_entered_once_under_the_name_of_the_duties(floor: Floor) -> None:
    """The next turn says nothing; the view names the fact, and the file's history has it."""
    one = runner(floor)
    assert 0 == one.turn()
    floor.say(plan("M1", at=at(450)))
    assert [1, 0, 0] == [one.turn() for _ in range(3)]
    (change,) = view(floor).changes
    told = next(told for told in view(floor).history if told.fact == change.found_by)
    assert (DUTIES, "approval-change-found") == (told.author, told.kind)


def test_a_duty_that_begins_anew_finds_what_was_not_entered(floor: Floor) -> None:
    """What changed while no service ran is found by the first turn of the next."""
    floor.say(plan("M1", at=at(450)))
    floor.say(model("M1", "09521234543213", at=at(460), revision=2))
    assert [2, 0] == [runner(floor).turn(), runner(floor).turn()]


class Counted:
    """The comparison, and how often it was asked for."""

    def __init__(self) -> None:
        self.asked = 0

    def __call__(self, reader: Reader) -> Iterable[DueChange]:
        """Compare, and count."""
        self.asked += 1
        return due_changes(reader)


def due(floor: Floor, looks: ApprovalChanges) -> list[Submission]:
    """What one turn would say."""
    with open_reader(floor.book.store) as reader:
        return list(looks.due(reader, floor.now_ms))


def test_files_are_compared_only_after_an_entry_that_can_matter(floor: Floor) -> None:
    """A registration is none; a plan is one, and what it brings stays due until it is entered."""
    counted = Counted()
    looks = ApprovalChanges(counted)
    assert ([], 1) == (due(floor, looks), counted.asked)
    floor.say(engraved("U-90", "P-90", 410, place=30))
    assert ([], 1) == (due(floor, looks), counted.asked)
    floor.say(plan("M1", at=at(450)))
    first, second = due(floor, looks), due(floor, looks)
    assert (first, 3) == (second, counted.asked)
    for submission in first:
        floor.book._writer.submit(submission, DUTIES).result(30)
    assert ([], 4, []) == (due(floor, looks), counted.asked, due(floor, looks))
    assert 4 == counted.asked


def test_the_key_of_a_change_is_its_own() -> None:
    """Another file, freeze, sort, subject or fact has another; the same has the same."""
    one = DueChange("AF-1", "9.0", "plan", "M1", "12.0")
    others = [
        one._replace(file="AF-2"),
        one._replace(freeze="9.1"),
        one._replace(sort="model"),
        one._replace(subject="M2"),
        one._replace(fact="12.1"),
    ]
    assert 6 == len({other.key for other in [one, *others, DueChange(*one)]})
