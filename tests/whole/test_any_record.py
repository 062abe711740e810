"""Well-formed records of every kind, in any order: each is entered or refused, and the book that they make holds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from ledger.application.proofs import check_book
from ledger.errors import MalformedInput, Refused, TooLarge
from ledger.line.submission import Submission
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from tests.line.cases_fold import cases_shown, cases_told
from tests.line.independent_fold import shown, told
from tests.plant import ORIGIN, SIGNER, line_start, new_writer, opening, registration
from tests.whole.any_record import AnyRecord
from tests.whole.read_back import ReadBack


@pytest.mark.parametrize(
    ("seed", "count"),
    [(1, 1500), (2, 1500), *(pytest.param(seed, 15_000, marks=pytest.mark.full) for seed in (3, 6))],
)
def test_any_records_leave_a_whole_book(tmp_path: Path, seed: int, count: int) -> None:
    """Only this project's refusals answer what is not entered; the views are what a rebuild and another fold give."""
    store = open_store(f"sqlite:///{tmp_path / 'book.db'}")
    writer = new_writer(store)
    writer.start()
    for submission in [opening(), *line_start(count=50)]:
        writer.submit(submission, "a-lead").result(30)
    makers, entered = AnyRecord(seed), 0
    for number in range(count):
        records = tuple(makers.record() for _ in range(makers.dice.choice((1, 1, 2))))
        if makers.dice.random() < 0.05:
            records = registration(makers.dice.randint(1, 8)).records
        try:
            stands: Any = writer.submit(Submission(key=f"k-{number}", records=records), f"a-{number % 3}").result(30)
        except (Refused, MalformedInput, TooLarge):
            continue
        entered += 1
        makers.heard(stands)
    writer.stop()
    check_book(store, ORIGIN, [SIGNER.verifier], views=True)
    with open_reader(store) as reader:
        book: Any = ReadBack(reader)
    store.close()
    assert cases_told(book.facts()) == cases_shown(book)
    assert told(book) == shown(book)
    assert entered > count // 10
