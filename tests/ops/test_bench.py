"""The benchmark runs, with tiny sizes, and prints its table. Nothing here looks at a time."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import msgspec
import pytest

from ledger.application.proofs import check_book
from ops.bench.__main__ import MEASURES, main
from ops.bench.books import book_of, copy_book
from ops.bench.field import Field, Sizes
from ops.bench.figures import Row, markdown, ratios
from ops.bench.plant import LOT, ORIGIN, SIGNERS, make_ready, open_plant, submissions
from ops.bench.raw_route import read_rows
from ops.bench.recording import RawInserts

TINY = Sizes(
    balls=1,
    rounds=1,
    http=40,
    bulk=300,
    seconds=20.0,
    connections=4,
    flush_single=3,
    flush_grouped=60,
    page_asks=2,
    dossier=200,
)


def tiny_words(folder: Path, only: Sequence[str]) -> list[str]:
    """The arguments of a run with tiny sizes."""
    sizes = [f"--{name.replace('_', '-')}={value}" for name, value in msgspec.structs.asdict(TINY).items()]
    return [*sizes, f"--folder={folder}", *(f"--only={name}" for name in only)]


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the measured book is made once."""
    folder = tmp_path_factory.mktemp("bench")
    book_of(folder, TINY.balls)
    return folder


@pytest.mark.parametrize("name", MEASURES)
def test_every_measurement_prints_its_rows(name: str, books: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each measurement runs from a book to a Markdown table that names the machine and the floors."""
    assert main(tiny_words(books, [name])) == 0
    printed = capsys.readouterr().out
    rows = [line for line in printed.splitlines() if line.startswith("| ")]
    assert re.search(r"cores, .* Python 3\.\d+", printed)
    assert len(rows) >= 3
    assert {line.count(" | ") for line in rows[2:]} == {5}


def test_the_floor_writes_what_the_product_wrote(books: Path) -> None:
    """After the recorded rows, written raw in groups of another size, the floor's copy is the whole book: it checks."""
    field = Field(books, TINY)
    skipped, written = read_rows(field.floor)
    inserts = RawInserts(str(field.floor / "book.sqlite"), iter(written[skipped:]))
    while inserts.write(97) == 97:
        pass
    inserts.close()
    plant = msgspec.structs.replace(field.plant, url=f"sqlite:///{field.floor / 'book.sqlite'}")
    book = open_plant(plant)
    try:
        report = check_book(book.store, ORIGIN, [SIGNERS.checkpoint.verifier])
        recorded = book.ball(f"U{field.balls:09d}").unit
    finally:
        book.close()
    assert (f"U{field.balls:09d}", True) == (recorded, report.views_compared)


def test_registrations_keep_every_rule(books: Path, tmp_path: Path) -> None:
    """The measured registrations break no rule of the line, so what is measured is the usual path."""
    plant = copy_book(book_of(books, TINY.balls), tmp_path / "copy")
    book = open_plant(plant)
    try:
        make_ready(book, plant, LOT, 5)
        entered = [book.submit(one, plant.keeper()).result() for one in submissions(plant, LOT, 5)]
    finally:
        book.close()
    assert [one.breaches for one in entered] == [((), ())] * 5


def test_ratios_are_taken_within_a_round() -> None:
    """The median is that of the rounds' own ratios, not the ratio of two medians."""
    assert ratios([10.0, 100.0, 30.0], [10.0, 10.0, 10.0]) == (3.0, "3.00 (1.00 to 10.00)")
    assert ratios([1.0], [0.0]) == (0.0, "not measured")


def test_a_row_says_whether_it_was_reached() -> None:
    """Reached, missed and without a target are told apart."""
    rows = [Row(what="a", measured="1", reached=reached) for reached in (True, False, None)]
    assert [line.split(" | ")[-1].rstrip(" |") for line in markdown(rows).splitlines()[2:]] == ["yes", "**no**", ""]
