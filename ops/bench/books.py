"""Books to measure on: one with so many balls, made once and kept, and copies of it to write to."""

from __future__ import annotations

import sys
import time
from pathlib import Path

from ledger.store.copying import copy_book as copy_entries
from ledger.store.engine import open_store
from ledger.store.rebuild import rebuild_views
from ops.bench.plant import (
    LOT,
    Plant,
    create_plant,
    keep_plant,
    make_ready,
    open_plant,
    read_plant,
    ready_end,
    submissions,
)
from ops.bench.storage import Files, Storage

STEP = 10 * LOT
"""Balls registered before the next are made."""

TOLD_FROM = 100_000
"""Balls or entries from which on it is told how far the making of a book is."""


def book_of(storage: Storage, balls: int, *, signed: bool = False) -> Path:
    """The folder of a book with that many balls (whole lots of them), ``signed`` by their station; made if need be.

    In files it is made by the writer itself, as every book is, in about half a minute for each 100,000 balls; on a server
    it is a copy of that one, entry by entry, with its views made anew there.
    """
    balls = ready_end(balls)
    kept = storage.folder / (f"balls-{balls}-signed" if signed else f"balls-{balls}")
    if (kept / "made").exists():
        # Views of another shape are made anew here, once, and not in every copy.
        open_store(storage.find(kept)).close()
        storage.settle(kept)
        return kept
    began = time.perf_counter()
    if isinstance(storage, Files):
        storage.fresh(kept)
        _register(kept, balls, began, signed=signed)
    else:
        _copy_into(storage, kept, book_of(Files(storage.folder.parent), balls, signed=signed), began)
    storage.settle(kept)
    (kept / "made").write_text(f"{time.perf_counter() - began:.0f} s\n", "utf-8")
    return kept


def copy_book(storage: Storage, kept: Path, to: Path) -> Plant:
    """A copy of a book that is not open, to write to."""
    storage.copy(kept, to)
    return read_plant(to)


def settle(folder: Path) -> None:
    """Copy the write-ahead log of a book in a file back, so that what follows does not pay for what went before."""
    Files(folder.parent).settle(folder)


def _register(kept: Path, balls: int, began: float, *, signed: bool) -> None:
    plant = create_plant(kept, signed=signed)
    book = open_plant(plant)
    try:
        for first in range(0, balls, STEP):
            count = min(STEP, balls - first)
            make_ready(book, plant, first, count)
            futures = [book.submit(one, plant.keeper()) for one in submissions(plant, first, count)]
            for future in futures:
                future.result()
            tell(f"book of {balls} balls", first + count, balls, began)
    finally:
        book.close()


def _copy_into(storage: Storage, kept: Path, source: Path, began: float) -> None:
    plant = read_plant(source)
    old, new = open_store(plant.url), open_store(storage.fresh(kept))
    try:
        copy_entries(old, new, progress=lambda done, size: tell(f"{kept.name}: entries copied", done, size, began))
        rebuild_views(new, lambda done, size: tell(f"{kept.name}: entries folded", done, size, began))
    finally:
        old.close()
        new.close()
    keep_plant(kept, plant)


def tell(what: str, done: int, size: int, began: float) -> None:
    """Say on a terminal how far something large is."""
    if size >= TOLD_FROM and (done == size or done % 10_000 < 1_000):
        rate = done / (time.perf_counter() - began)
        print(
            f"\r{what}: {done} of {size} ({rate:.0f}/s)", end="\n" if done == size else "", file=sys.stderr, flush=True
        )
