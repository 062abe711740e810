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


def measure_whole_check(field: Field) -> list[Row]:
    """Both in turn, ``rounds`` times; the row of the table."""
    checked: list[float] = []
    read: list[float] = []
    size = 0
    for _ in range(field.sizes.rounds):
        began = time.perf_counter()
        size = _read_and_hash(field.plant.url)
        read.append(time.perf_counter() - began)
        store = open_store(field.plant.url)
        began = time.perf_counter()
        check_book(store, ORIGIN, [SIGNERS.checkpoint.verifier], views=False)
        checked.append(time.perf_counter() - began)
        store.close()
    ratio, words = ratios(checked, read)
    return [
        Row(what=f"whole book checked (chain, tree, openings, checkpoint), {size:,} entries",
            measured=f"{median(checked):.2f} s", floor=f"the same bytes read and hashed {median(read):.2f} s",
            ratio=words, target="at most 2.5", reached=ratio <= 2.5)
    ]  # fmt: skip


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
