"""One look for signals over every family, against selecting the same columns."""

from __future__ import annotations

import time
from statistics import median

from ledger.application.signals import Signals, SignalsAsked, signals_of
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ops.bench.claims_store import BALLS_A_CLAIM, END_MS, claims_store
from ops.bench.drivers import stream_rows
from ops.bench.field import Field
from ops.bench.figures import Row, ratios
from ops.bench.storage import Storage

MOST_S = 5.0

COLUMNS = (
    'SELECT u."lot", u."engraved_by", s."at_ms", s."back_ms", s."purpose" FROM "shipped" s JOIN "unit" u ON u."unit" = s."unit"',
    'SELECT "claim", "address", "mode", "opened_ms", "unit", "serial", "state" FROM "claim"',
    'SELECT "lot", "stage", "model", "began_ms" FROM "lot"',
    'SELECT * FROM "descent"',
    'SELECT * FROM "made"',
    'SELECT "lot", "station" FROM "lot_step"',
)
"""What a look reads, as it lies there."""


def measure_signal_pass(field: Field) -> list[Row]:
    """Look and selection in turn, ``rounds`` times, on a store of its own beside the books; the row of the table."""
    return measure_on(field.storage, field.balls, field.sizes.rounds)


def measure_on(storage: Storage, balls: int, rounds: int) -> list[Row]:
    """The same, without a field."""
    url = claims_store(storage, balls)
    looked: list[float] = []
    selected: list[float] = []
    store, lots = open_store(url), 0
    for _ in range(rounds):
        selected.append(_select(url))
        began = time.perf_counter()
        with open_reader(store) as reader:
            answer: Signals = signals_of(reader, SignalsAsked(now_ms=END_MS))
        looked.append(time.perf_counter() - began)
        with open_reader(store) as reader:
            lots = int(reader.transaction.rows('SELECT count(*) FROM "lot"')[0][0])
    store.close()
    _, words = ratios(looked, selected)
    what = f"signals in {answer.claims:,} counted claims ({balls // BALLS_A_CLAIM:,} in all), {balls:,} balls, {lots:,} lots"
    return [
        Row(what=f"{what}, 8 families", measured=f"{median(looked):.2f} s",
            floor=f"SELECT of the same columns {median(selected):.2f} s", ratio=words, target=f"under {MOST_S:.0f} s",
            reached=median(looked) < MOST_S),
    ]  # fmt: skip


def _select(url: str) -> float:
    """Seconds that it takes to fetch the columns that a look reads."""
    began = time.perf_counter()
    for text in COLUMNS:
        for _ in stream_rows(url, text):
            pass
    return time.perf_counter() - began
