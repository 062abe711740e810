"""From a block lot down to the serials of its balls, and the count of all below a suspect, on a store of many balls."""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median
from typing import Any

from ledger.application.containment import suspect_answer
from ledger.application.lot_view import lot_below
from ledger.line.suspects import Suspect
from ledger.store.engine import open_store
from ledger.store.reader import Reader, open_reader
from ops.bench.claims_store import claims_store, middle_lot
from ops.bench.field import Field
from ops.bench.figures import Row, ratios
from ops.bench.storage import Storage

ASKED = 40
"""Times that each is asked in a round."""

MOST_MS = {"sqlite": 10.0, "postgresql": 25.0}
"""By the kind of store."""

MOST_COUNT_MS = 1_000.0

SERIALS = (
    'SELECT "unit", "serial", "state", "away" FROM "unit" WHERE "lot" IN '
    '(SELECT "child" FROM "descent" WHERE "parent" IN (SELECT "child" FROM "descent" WHERE "parent" = ?))'
)
"""The same balls by one query that knows the levels between."""


def measure_trace(field: Field) -> list[Row]:
    """The rows of the table; the store is the one of `signal_pass`."""
    return measure_on(field.storage, field.balls, field.sizes.rounds)


def measure_on(storage: Storage, balls: int, rounds: int) -> list[Row]:
    """The same, without a field."""
    store = open_store(claims_store(storage, balls))
    # In a store of many balls a block lot has 1,600 of them, and a material lot 6,400.
    block, material = middle_lot("block", balls), Suspect(sort="material-lot", name=middle_lot("material", balls))
    traced: list[float] = []
    selected: list[float] = []
    counted: list[float] = []
    with open_reader(store) as reader:
        below = len(lot_below(reader, block).balls)
        suspects = suspect_answer(reader, material).balls
        for _ in range(rounds):
            selected.append(_taken_ms(reader, lambda one: one.transaction.rows(SERIALS, (block,))))
            traced.append(_taken_ms(reader, lambda one: lot_below(one, block)))
            counted.append(_taken_ms(reader, lambda one: suspect_answer(one, material)))
    store.close()
    _, words = ratios(traced, selected)
    most = MOST_MS[storage.name]
    return [
        Row(what=f"block lot to its {below:,} serials, with certainty, in {balls:,} balls",
            measured=f"{median(traced):.1f} ms", floor=f"one query of the same balls {median(selected):.1f} ms", ratio=words,
            target=f"under {most:.0f} ms", reached=median(traced) < most),
        Row(what=f"all below a material lot counted by place and consignee, {suspects.certain + suspects.possible:,} balls",
            measured=f"{median(counted):.1f} ms", target="under 1 s", reached=median(counted) < MOST_COUNT_MS),
    ]  # fmt: skip


def _taken_ms(reader: Reader, ask: Callable[[Reader], Any]) -> float:
    taken = []
    for _ in range(ASKED):
        began = time.perf_counter()
        ask(reader)
        taken.append((time.perf_counter() - began) * 1_000)
    return median(taken)
