"""What one plant's book costs besides registrations: ``python -m ops.bench.plant_upkeep --balls 10000``.

Releases and shipments (bytes, balls a second), the table sizes, a backup and the checks of the whole book (processor time
an entry), and a witness that cosigns heads of 20 books (requests a second, bytes of a request).  Everything is made for
the run in a folder that goes afterwards.  ``ops/many_plants.md`` rests on these figures.
"""

from __future__ import annotations

import argparse
import hashlib
import resource
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import msgspec

from ledger.application.backing_up import write_book_file
from ledger.application.pourbook import Pourbook, wall_clock_ms
from ledger.application.proofs import check_book
from ledger.application.witness import Witness
from ledger.book.checkpoint import sign_checkpoint
from ledger.book.instant import Instant, format_instant
from ledger.book.merkle import leaf_hash, prove_consistency, root
from ledger.book.signing import signer_from_seed
from ledger.book.witness import format_add_checkpoint
from ledger.errors import MalformedInput
from ledger.line.submission import Submission
from ledger.store.engine import open_store
from ledger.store.witness_state import open_witness_state
from ops.bench.books import book_of, settle
from ops.bench.machine import machine_line
from ops.bench.plant import HOUR_MS, LOT, ORIGIN, SIGNERS, Plant, open_plant, read_plant
from ops.bench.storage import Files

RELEASED_TOGETHER = 20
SHIPPED_TOGETHER = 200
"""Balls in one release and in one shipment: assumptions."""

BOOKS = 20
"""Books whose heads the witness signs."""

TREE_OF_A_PLANT = 10_000_000
"""Entries for which the length of a witness's request is told."""

Row = tuple[str, str]
T = TypeVar("T")


def main(words: list[str] | None = None) -> int:
    """Make a book, measure, print the table."""
    parser = argparse.ArgumentParser(prog="python -m ops.bench.plant_upkeep", description="What a book costs to keep.")
    parser.add_argument("--balls", type=int, default=10_000, help="balls of the book, in whole lots (10,000)")
    parser.add_argument(
        "--living", type=int, default=2_000, help="balls of these that are released and shipped (2,000)"
    )
    parser.add_argument("--heads", type=int, default=20, help="heads of each book that the witness signs (20)")
    given = parser.parse_args(words)
    if not (1 <= given.living <= given.balls and given.heads >= 1):
        raise MalformedInput("number is out of range", expected="--living from 1 to --balls, --heads 1 or more")
    with tempfile.TemporaryDirectory(prefix="upkeep-") as name:
        folder = book_of(Files(Path(name)), given.balls)
        rows = [*table_rows(folder), *keeping_rows(folder), *living_rows(folder, given.living)]
        rows += witness_rows(Path(name), given.heads)
    print(f"{machine_line()}; a book of {-(-given.balls // LOT) * LOT:,} balls\n")
    print("\n".join(f"| {what} | {figure} |" for what, figure in (("what", "measured"), ("---", "---"), *rows)))
    return 0


def table_rows(folder: Path) -> list[Row]:
    """Bytes of the file a ball by table, indexes included; tables below 1 % are summed up."""
    connection = sqlite3.connect(f"file:{folder / 'book.sqlite'}?mode=ro", uri=True)
    try:
        balls = connection.execute('SELECT count(*) FROM "unit"').fetchone()[0]
        size = (folder / "book.sqlite").stat().st_size
        try:
            found = connection.execute(
                "SELECT coalesce(m.tbl_name, d.name), sum(d.pgsize) FROM dbstat d LEFT JOIN sqlite_master m ON m.name = d.name "
                "WHERE d.aggregate = 1 GROUP BY 1 ORDER BY 2 DESC"
            ).fetchall()
        except sqlite3.OperationalError:
            # Not every SQLite is built with the table that says so.
            found = []
    finally:
        connection.close()
    large = [f"{name} {bytes_ / balls:,.0f}" for name, bytes_ in found if bytes_ > size / 100]
    return [("bytes of the file a ball", f"{size / balls:,.0f}{': ' if large else ''}{', '.join(large)}")]


def keeping_rows(folder: Path) -> list[Row]:
    """A backup before its encryption, and the check of the whole book without and with the views."""
    store = open_store(read_plant(folder).url, migrate=False)
    try:
        written, backed_up = _processor(lambda: write_book_file(store, folder / "backup.sqlite"))
        keys = [SIGNERS.checkpoint.verifier]
        _, plain = _processor(lambda: check_book(store, ORIGIN, keys, views=False))
        _, whole = _processor(lambda: check_book(store, ORIGIN, keys, views=True))
    finally:
        store.close()
    size = (folder / "backup.sqlite").stat().st_size
    unit = 1024**2 if sys.platform == "darwin" else 1024
    return [
        ("a backup, before it is encrypted", f"{size / written.size:,.0f} bytes, {_us(backed_up, written.size)}"),
        ("the whole book checked without its views", _us(plain, written.size)),
        ("the whole book checked with its views", _us(whole, written.size)),
        ("peak memory of all of this", f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit:,.0f} MB"),
    ]


def living_rows(folder: Path, balls: int) -> list[Row]:
    """Balls released as second quality, each judged, and shipped."""
    plant = read_plant(folder)
    book = open_plant(plant)
    try:
        units = [f"U{number:09d}" for number in range(balls)]
        rows = []
        for what, together, say in (("released", RELEASED_TOGETHER, _release), ("shipped", SHIPPED_TOGETHER, _ship)):
            settle(folder)
            before, began = (folder / "book.sqlite").stat().st_size, time.perf_counter()
            for first in range(0, balls, together):
                say(book, plant, units[first : first + together])
            seconds = time.perf_counter() - began
            settle(folder)
            grown = (folder / "book.sqlite").stat().st_size - before
            rows.append(
                (f"a ball {what}, {together} together", f"{grown / balls:,.0f} bytes, {balls / seconds:,.0f}/s")
            )
    finally:
        book.close()
    return rows


def witness_rows(folder: Path, heads: int) -> list[Row]:
    """A witness of `BOOKS` books that signs so many heads of each, kept before it answers; nothing is sent."""
    origins = [f"book{number}.measured.example" for number in range(BOOKS)]
    signers = {origin: signer_from_seed(origin, hashlib.sha256(origin.encode()).digest()) for origin in origins}
    leaves = [leaf_hash(str(number).encode()) for number in range(97 * heads)]
    requests = []
    for old, new in ((97 * step, 97 * step + 97) for step in range(heads)):
        head, proof = root(leaves[:new]), prove_consistency(leaves, old, new) if old else []
        requests += [
            format_add_checkpoint(old, proof, sign_checkpoint(origin, new, head, [signers[origin]]))
            for origin in origins
        ]
    state = open_witness_state(folder / "witness", begin=True)
    logs = {origin: [signer.verifier] for origin, signer in signers.items()}
    try:
        key = signer_from_seed("witness.measured.example", b"\x03" * 32, "witness")
        witness = Witness(state, [key], lambda: logs, wall_clock_ms)
        began = time.perf_counter()
        answers = [witness.add_checkpoint(request) for request in requests]
        rate = len(requests) / (time.perf_counter() - began)
    finally:
        state.close()
    # At most one hash a level on either side of the old size's edge: RFC 9162 2.1.4.
    proof = [b"\x00" * 32] * (TREE_OF_A_PLANT.bit_length() + 1)
    note = sign_checkpoint(origins[0], TREE_OF_A_PLANT, b"\x00" * 32, [signers[origins[0]]])
    sent = len(format_add_checkpoint(TREE_OF_A_PLANT - 1, proof, note))
    return [
        ("heads cosigned by a witness", f"{rate:,.0f}/s"),
        (f"a request to it at {TREE_OF_A_PLANT:,} entries, at most", f"{sent:,} bytes, its answer {len(answers[-1])}"),
    ]


def _release(book: Pourbook, plant: Plant, units: list[str]) -> None:
    # Second quality: some of the bench's readings lie outside a limit, which first quality does not admit.
    book.release(units, "second", f"release-{units[0]}", plant.keeper()).result()


def _ship(book: Pourbook, plant: Plant, units: list[str]) -> None:
    at = format_instant(Instant(plant.began_ms + 1_300 * HOUR_MS, 0))
    record = {"kind": "shipment", "at": at, "shipment": f"SH-{units[0]}", "units": units, "consignee": "A shop"}
    said = msgspec.convert({"key": f"ship-{units[0]}", "records": [record]}, Submission)
    book.submit(said, plant.keeper()).result()


def _processor(do: Callable[[], T]) -> tuple[T, float]:
    """What it gives, and the seconds of processor that it took."""
    began = time.process_time()
    return do(), time.process_time() - began


def _us(seconds: float, entries: int) -> str:
    return f"{seconds / entries * 1e6:,.1f} µs of processor an entry"


if __name__ == "__main__":
    sys.exit(main())
