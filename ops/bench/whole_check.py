"""The whole book checked, against reading the same bytes from the store and hashing them."""

from __future__ import annotations

import hashlib
import time
from statistics import median

from ledger.application.proofs import check_book
from ledger.store.engine import open_store
from ops.bench.drivers import stream_rows
from ops.bench.field import Field
from ops.bench.figures import Row, ratios
from ops.bench.plant import ORIGIN, SIGNERS
from ops.several_hands import hands_for

PROCESSES = 2
"""At the same check, beside one alone."""


def measure_whole_check(field: Field) -> list[Row]:
    """All in turn, ``rounds`` times; the rows of the table."""
    checked: dict[int, list[float]] = {1: [], PROCESSES: []}
    read: list[float] = []
    size = 0
    for _ in range(field.sizes.rounds):
        began = time.perf_counter()
        size = _read_and_hash(field.plant.url)
        read.append(time.perf_counter() - began)
        for processes, taken in checked.items():
            store = open_store(field.plant.url)
            began = time.perf_counter()
            hands = hands_for(processes)
            check_book(store, ORIGIN, [SIGNERS.checkpoint.verifier], views=False, hands=hands)
            taken.append(time.perf_counter() - began)
            store.close()
    what = f"whole book checked (chain, tree, openings, checkpoint), {size:,} entries"
    floor = f"the same bytes read and hashed {median(read):.2f} s"
    rows = []
    for processes, taken in checked.items():
        ratio, words = ratios(taken, read)
        by = f"{what}, by one process" if processes == 1 else f"the same by {processes} processes"
        rows.append(
            Row(what=by, measured=f"{median(taken):.2f} s", floor=floor, ratio=words, target="at most 2.5",
                reached=ratio <= 2.5)
        )  # fmt: skip
    return rows


def _read_and_hash(url: str) -> int:
    """Read every entry and opening, and hash each; the number of entries."""
    count = 0
    for rows in stream_rows(url, 'SELECT "bytes" FROM "entry" ORDER BY "index"'):
        for (raw,) in rows:
            hashlib.sha256(raw).digest()
        count += len(rows)
    for rows in stream_rows(url, 'SELECT "salt", "value" FROM "opening"'):
        for salt, value in rows:
            hashlib.sha256(salt + value).digest()
    return count
