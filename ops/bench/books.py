"""Books to measure on: one with so many balls, made once and kept, and copies of it to write to."""

from __future__ import annotations

import shutil
import sqlite3
import sys
import time
from pathlib import Path

from ops.bench.plant import LOT, Plant, create_plant, make_ready, open_plant, read_plant, ready_end, submissions

STEP = 10 * LOT
"""Balls registered before the next are made."""


def book_of(folder: Path, balls: int, *, signed: bool = False) -> Path:
    """The folder of a book with that many balls (whole lots of them), ``signed`` by their station; made if need be.

    Made by the writer itself, as every book is; about half a minute for each 100,000 balls.
    """
    balls = ready_end(balls)
    kept = folder / (f"balls-{balls}-signed" if signed else f"balls-{balls}")
    if (kept / "made").exists():
        return kept
    shutil.rmtree(kept, ignore_errors=True)
    plant = create_plant(kept, signed=signed)
    book = open_plant(plant)
    began = time.perf_counter()
    try:
        for first in range(0, balls, STEP):
            count = min(STEP, balls - first)
            make_ready(book, plant, first, count)
            futures = [book.submit(one, plant.keeper()) for one in submissions(plant, first, count)]
            for future in futures:
                future.result()
            _progress(first + count, balls, began)
    finally:
        book.close()
    settle(kept)
    (kept / "made").write_text(f"{time.perf_counter() - began:.0f} s\n", "utf-8")
    return kept


def copy_book(kept: Path, to: Path) -> Plant:
    """A copy of a book that is not open, to write to."""
    shutil.rmtree(to, ignore_errors=True)
    shutil.copytree(kept, to)
    return read_plant(to)


def settle(folder: Path) -> None:
    """Copy the write-ahead log back into the file, so that what follows does not pay for what went before."""
    connection = sqlite3.connect(folder / "book.sqlite")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


def _progress(done: int, balls: int, began: float) -> None:
    if balls >= 100_000:
        rate = done / (time.perf_counter() - began)
        print(
            f"\rbook of {balls} balls: {done} ({rate:.0f}/s)",
            end="\n" if done == balls else "",
            file=sys.stderr,
            flush=True,
        )
