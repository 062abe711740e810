"""What writers of several processes keep of the book in memory: all that the others' groups left alone, and nothing else."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from ledger.application.pourbook import Pourbook
from ledger.errors import LedgerError
from ledger.line.reading_rows import Gauge
from ledger.line.rows import Hold, Lot, Model, Row, Unit
from ledger.store.answer import Entered
from ledger.store.engine import Store
from ledger.store.group_changes import BESIDE_VIEWS, KEPT, changed_views, note_changes
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views
from ledger.store.selections import every_row
from ledger.store.store_settings import CHANGES, setting_of
from ledger.store.view_tables import VIEW_TABLES
from ledger.store.writer import Writer
from tests.application.floor import Floor
from tests.application.told_plant import told_plant
from tests.plant import line_start, opening, registration, said

_ACCOUNT = re.compile(r"a-[0-9a-f]{16}")

TOLD = "3 5 lot,unit;5 6 ;6 9 hold"


@pytest.mark.parametrize(
    ("before", "after", "found"),
    [
        (3, 9, {Lot, Unit, Hold}),
        (5, 6, set()),
        (6, 9, {Hold}),
        (9, 9, set()),
    ],
)
def test_changes_between_two_sizes_are_those_of_the_groups_between(
    before: int, after: int, found: set[type[Row]]
) -> None:
    """From the group that began at the one size to the group that ended at the other."""
    assert frozenset(found) == changed_views(TOLD, before, after)


@pytest.mark.parametrize(
    ("told", "before", "after"),
    [
        (TOLD, 2, 9),
        (TOLD, 4, 9),
        (TOLD, 3, 10),
        ("", 3, 5),
        ("3 5 lot;6 9 unit", 3, 9),
        ("3 5 *", 3, 5),
        ("3 5 lot,a view of later", 3, 5),
        ("3 x lot", 3, 5),
        ("3 5 lot;5", 3, 6),
    ],
)
def test_what_is_not_told_whole_is_not_known(told: str, before: int, after: int) -> None:
    """A beginning or an end that no group has, a gap, everything, a view of another version, a line of another form."""
    assert changed_views(told, before, after) is None


def test_the_last_groups_are_told_of(store: Store) -> None:
    """As many as are kept, the newest last, each from its size to its size."""
    for size in range(KEPT + 3):
        with store.writing() as transaction:
            note_changes(transaction, setting_of(transaction, CHANGES) or "", size, size + 1, [Unit, Lot])
    with store.reading() as look:
        told = setting_of(look, CHANGES) or ""
    assert [f"{size} {size + 1} lot,unit" for size in range(3, KEPT + 3)] == told.split(";")


def test_what_lies_beside_the_views_is_always_dropped() -> None:
    """Bodies, openings, names of accounts and files are changed by others without a group that says so."""
    assert {"Told", "Body", "FieldOpening", "AccountName", "StoredBlob"} == {row.__name__ for row in BESIDE_VIEWS}
    assert BESIDE_VIEWS.isdisjoint(VIEW_TABLES)


def test_another_writer_s_groups_leave_the_rest_in_memory(store: Store, start: Callable[..., Writer]) -> None:
    """After a ball of the other, the gauges are still held and the lot, whose count changed, is not."""
    one, other = start(), start()
    for submission in [opening(), *line_start()]:
        one.submit(submission, "a-lead").result(30)
    one.submit(registration(1), "a-engraver").result(30)
    other.submit(registration(2), "a-engraver").result(30)
    committer = one._committer  # nothing else shows what is in memory
    state = committer._scope.state
    gauges = state.all_of(Gauge)
    assert gauges
    assert state.all_of(Lot)
    with open_reader(store) as reader:
        told = setting_of(reader.transaction, CHANGES) or ""
        head = reader.head()
    committer._forget_changed(changed_views(told, head.size - 1, head.size))
    assert (gauges, [], []) == (state.all_of(Gauge), state.all_of(Lot), state.all_of(Unit))


class Turns:
    """Says of several books over one store which takes the next submission, by dice."""

    def __init__(self, books: list[Pourbook], dice: random.Random) -> None:
        """Take turns among these."""
        self.books, self.dice = books, dice

    def say(self, floor: Floor, *records: dict[str, Any]) -> Entered:
        """As `Floor.say`, by the book whose turn it is."""
        floor._keys += 1
        book = self.dice.choice(self.books) if self.books else floor.book
        entered: Entered = book.submit(said(f"k-{floor._keys}", *records), floor.lead).result(30)
        return entered


@pytest.fixture
def by_turns(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[Path, str, int], tuple[Floor, list[str]]]]:
    """Tells the plant in which everything happened, each submission to one of so many writers; what each was answered."""
    with ExitStack() as opened:

        def told(folder: Path, url: str, writers: int) -> tuple[Floor, list[str]]:
            turns, answers = Turns([], random.Random(20261130)), list[str]()

            def say(floor: Floor, *records: dict[str, Any]) -> Entered:
                if not turns.books and writers > 1 and hasattr(floor, "lead"):
                    for _ in range(writers):
                        book = floor.opened()
                        book.start()
                        opened.callback(book.close)
                        turns.books.append(book)
                try:
                    entered = turns.say(floor, *records)
                except LedgerError as refusal:
                    answers.append(str(refusal))
                    raise
                answers.append(str([[breach.code for breach in each] for each in entered.breaches]))
                return entered

            monkeypatch.setattr(Floor, "say", say)
            folder.mkdir()
            floor = told_plant(folder, url)
            opened.callback(floor.book.close)
            return floor, answers

        yield told


def test_several_writers_answer_as_one_does(
    by_turns: Callable[[Path, str, int], tuple[Floor, list[str]]], url: str, tmp_path: Path
) -> None:
    """Each submission of a plant in which everything happened, said to one of three writers: the same breaches and views."""
    one, answered = by_turns(tmp_path / "one", "", 1)
    several, by_several = by_turns(tmp_path / "several", url, 3)
    assert answered == by_several
    assert any("'" in answer for answer in answered), "nothing was breached, so nothing was compared"
    with one.book.store.reading() as alone, several.book.store.reading() as together:
        kinds: tuple[type[Row], ...] = (Unit, Lot, Hold, Model, Gauge)
        for row in kinds:
            # Accounts have random ids.
            here, there = (
                [_ACCOUNT.sub("a", str(each)) for each in every_row(look, row)] for look in (alone, together)
            )
            assert here == there
    assert [] == compare_views(several.book.store)
