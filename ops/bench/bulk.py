"""Entries appended in bulk: the writer, against the driver alone with the same rows in groups of the same size."""

from __future__ import annotations

import time
from collections.abc import Sequence

from ledger.access.tokens import Account
from ledger.application.pourbook import Pourbook
from ledger.line.submission import Submission
from ops.bench.field import Field
from ops.bench.figures import Row, rate, ratios
from ops.bench.plant import submissions
from ops.bench.raw_inserts import RawInserts
from ops.bench.raw_route import GROUP_LIMIT, read_rows
from ops.bench.storage import url_of
from ops.collector import settle_collector


def measure_bulk(field: Field) -> list[Row]:
    """Both in turn, ``rounds`` times; the row of the table."""
    written: list[float] = []
    raw: list[float] = []
    count = field.sizes.bulk
    for _ in range(field.sizes.rounds):
        raw.append(count / _raw_seconds(field, count))
        written.append(count / _product_seconds(field, count))
    ratio, words = ratios(written, raw)
    return [
        Row(what=f"entries appended in bulk, durable, groups of up to {GROUP_LIMIT}", measured=rate(written),
            floor=f"the same rows by the driver alone {rate(raw)}", ratio=words, target="at least 0.5",
            reached=ratio >= 0.5)
    ]  # fmt: skip


def _product_seconds(field: Field, count: int) -> float:
    said = submissions(field.plant, field.take(count), count)
    keeper = field.plant.keeper()
    book = field.open()
    try:
        settle_collector()
        return answered_seconds(book, said, keeper)
    finally:
        book.close()
        field.storage.settle(field.product)


def answered_seconds(book: Pourbook, said: Sequence[Submission], keeper: Account) -> float:
    """Seconds until everything that is said at once is answered."""
    began = time.perf_counter()
    for future in [book.submit(one, keeper) for one in said]:
        future.result()
    return time.perf_counter() - began


def _raw_seconds(field: Field, count: int) -> float:
    skipped, written = read_rows(field.floor)
    inserts = RawInserts(url_of(field.floor), iter(written[skipped : skipped + count]))
    try:
        began = time.perf_counter()
        while inserts.write(GROUP_LIMIT) == GROUP_LIMIT:
            pass
        return time.perf_counter() - began
    finally:
        inserts.close()
        field.storage.settle(field.floor)
