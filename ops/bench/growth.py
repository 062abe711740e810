"""What must not grow with the book, and what may grow with its answer only.

Receipts, consistency proofs and tiles on books of entries alone (`entries_book`) of three sizes, the largest a thousand
times the smallest; the start of a real ``pourbook serve``; and the way from a block lot down to its serials in stores of
three sizes (`claims_store`).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from functools import partial
from statistics import median
from typing import Any

from ledger.application.lot_view import lot_below
from ledger.application.pourbook import Pourbook, open_book
from ledger.book.tiles import TILE_WIDTH
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ops.bench.claims_store import claims_store, middle_lot
from ops.bench.drivers import connect
from ops.bench.entries_book import entries_book, number_in
from ops.bench.field import Field
from ops.bench.figures import Row
from ops.bench.plant import LABEL_STEM, ORIGIN, SIGNERS
from ops.bench.start_up import measure_start
from ops.bench.trace_pass import MOST_MS as MOST_TRACE_MS

MOST_RECEIPT_MS = 1.0
MOST_TIMES = 3.0
"""A receipt in the largest book against one in the smallest."""

JUDGED_FROM = 1_000_000
"""Entries of the largest book from which on the targets hold: in small books a proof is short, and they prove nothing."""

ASKS = 400
TRACE_ASKS = 20


def measure_growth(field: Field) -> list[Row]:
    """The rows of the table. Books of entries are made the first time and kept."""
    largest = field.sizes.growth
    sizes = sorted({max(2, largest // parts) for parts in (1_000, 10, 1)})
    urls = {size: entries_book(field.storage, size) for size in sizes}
    rows = []
    for what, ask, most in _questions():
        rows += _grown(what, {size: _asked(field, url, size, ask) for size, url in urls.items()}, most)
    return [*rows, *_started(field, sizes), *_traced(field)]


def _questions() -> list[tuple[str, Callable[[Pourbook, int, int], object], float | None]]:
    """What is asked of a book, its size and a number within it; milliseconds that it may take, if that is said."""
    return [
        ("receipt (proof and note)", lambda book, _size, number: book.receipt(number), MOST_RECEIPT_MS),
        ("consistency proof", lambda book, size, number: book.consistency(number + 1, size), None),
        ("hash tile", lambda book, size, number: book.tile(0, *_tile(size, number)), None),
    ]


def _tile(size: int, number: int) -> tuple[int, int]:
    """The tile that a leaf lies in, and its width."""
    place = number // TILE_WIDTH
    return place, min(TILE_WIDTH, size - place * TILE_WIDTH)


def _asked(field: Field, url: str, size: int, ask: Callable[[Pourbook, int, int], object]) -> tuple[float, float]:
    """Medians in milliseconds, in turn: a question, and one indexed look-up of the entry in question.

    Entries and tiles are read once before, and as many questions asked of other entries, as in a service that is in use.
    """
    asked: list[float] = []
    looked: list[float] = []
    book = open_book(url, origin=ORIGIN, signers=SIGNERS, label_stem=LABEL_STEM)
    book.start()
    mark = "?" if field.storage.name == "sqlite" else "%s"
    query = f'SELECT "bytes" FROM "entry" WHERE "index" = {mark}'  # noqa: S608  # the driver's mark for a parameter
    try:
        with connect(url) as connection:
            for table, column in (("entry", "bytes"), ("tile", "hashes")):
                connection.execute(f'SELECT sum(length("{column}")) FROM "{table}"').fetchall()  # noqa: S608  # named here
            for question in range(ASKS, 2 * ASKS):
                ask(book, size, number_in(size, question))
            for number in (number_in(size, question) for question in range(ASKS)):
                looked.append(_ms(partial(_look_up, connection, query, number)))
                asked.append(_ms(partial(ask, book, size, number)))
    finally:
        book.close()
    return median(asked), median(looked)


def _look_up(connection: Any, query: str, number: int) -> object:
    return connection.execute(query, (number,)).fetchone()


def _ms(ask: Callable[[], object]) -> float:
    began = time.perf_counter()
    ask()
    return (time.perf_counter() - began) * 1_000


def _grown(what: str, found: dict[int, tuple[float, float]], most: float | None) -> list[Row]:
    """A row for each size; the largest has the target of growth, and of time where there is one."""
    smallest, largest = min(found), max(found)
    rows = []
    for size, (asked, looked) in found.items():
        times = asked / found[smallest][0]
        target, reached = "", None
        if size == largest >= JUDGED_FROM:
            target = f"at most {MOST_TIMES:.0f} times that of the smallest" + (f", under {most:.0f} ms" if most else "")
            reached = times <= MOST_TIMES and (most is None or asked < most)
        rows.append(
            Row(what=f"{what} in a book of {size:,} entries", measured=f"{asked:.2f} ms",
                floor=f"one indexed look-up {looked:.2f} ms", ratio=f"{times:.2f} times the smallest", target=target,
                reached=reached)
        )  # fmt: skip
    return rows


def _started(field: Field, sizes: Sequence[int]) -> list[Row]:
    """Starts over copies, since a service may enter something; the book of balls is a copy already."""
    asked = [("entries alone", size) for size in sizes[:2]]
    folder, rows = field.storage.folder / "started", []
    for what, size in asked:
        field.storage.copy(field.storage.folder / f"entries-{size}", folder)
        rows.append(measure_start(field, folder, f"a book of {size:,} {what}"))
    field.storage.remove(folder)
    return [*rows, measure_start(field, field.product, f"the book of {field.balls:,} balls")]


def _traced(field: Field) -> list[Row]:
    most, rows = MOST_TRACE_MS[field.storage.name], []
    for balls in sorted({max(400, field.balls // parts) for parts in (50, 10, 1)}):
        store, lot = open_store(claims_store(field.storage, balls)), middle_lot("block", balls)
        with open_reader(store) as reader:
            below = len(lot_below(reader, lot).balls)
            taken = median(_ms(partial(lot_below, reader, lot)) for _ in range(TRACE_ASKS))
        store.close()
        rows.append(
            Row(what=f"block lot to its {below:,} serials in {balls:,} balls", measured=f"{taken:.1f} ms",
                ratio=f"{taken * 1_000 / max(1, below):.1f} µs a serial", target=f"under {most:.0f} ms", reached=taken < most)
        )  # fmt: skip
    return rows
