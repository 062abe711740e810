"""Questions over every ball of the book, in two halves at once, against selecting the same columns; and ball by ball."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from functools import partial
from statistics import median
from typing import Any

import msgspec

from ledger.application.conformity_query import conformity_of
from ledger.application.impact_of_correction import impact_of_correction
from ledger.application.impact_of_gauge import impact_of_gauge
from ledger.application.impact_of_rules import Under, impact_of_rules
from ledger.application.judging import grounds_of, judged_rows
from ledger.application.reading_process import Beside, Inside
from ledger.book.instant import Instant, format_instant
from ledger.conformity.from_rows import facts_from_rows
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.conformity.verdict import judge_ball
from ledger.store.engine import Store, open_store
from ledger.store.long_look import open_long_reader
from ledger.store.reader import Reader
from ledger.store.selections import Selection, select_balls
from ops.bench.drivers import stream_rows
from ops.bench.field import Field
from ops.bench.figures import Row, ratios
from ops.bench.plant import HOUR_MS, say

RULEBOOK = "usbc-2026"
EARLIER = "usbc-2019"
MADE_ON = dt.date(2019, 5, 6)
GAUGE = "G-MASS"
BIAS = "0.05"

SAMPLE = 400
"""Balls judged one by one, from which the time of all is worked out."""

IMPACT_SECONDS = 5.0
"""What a question of what changes may take on a million balls."""


def measure_population_pass(field: Field) -> list[Row]:
    """The pass, the selection and a sample of single balls in turn, ``rounds`` times; the rows of the table."""
    passed: list[float] = []
    selected: list[float] = []
    looped: list[float] = []
    store, balls = open_store(field.plant.url), 0
    beside = _beside(store)
    for _ in range(field.sizes.rounds):
        selected.append(_select(field.plant.url))
        with open_long_reader(store, beside) as reader:
            began = time.perf_counter()
            balls = conformity_of(reader, Selection(), RULEBOOK).tally.balls
            passed.append(time.perf_counter() - began)
            looped.append(_loop(reader) * balls)
    beside.close()
    store.close()
    ratio, words = ratios(passed, selected)
    times, loop_words = ratios(looped, passed)
    return [
        Row(what=f"conformity of {balls:,} balls under {RULEBOOK}, 8 quantities read of each",
            measured=f"{median(passed):.2f} s",
            floor=f"SELECT of the same columns {median(selected):.2f} s",
            ratio=words, target="at most 2", reached=ratio <= 2),
        Row(what="the same, against judging ball by ball", measured=f"{median(passed):.2f} s",
            floor=f"{median(looped):,.0f} s (from {SAMPLE} balls)", ratio=loop_words, target="at least 20",
            reached=times >= 20),
    ]  # fmt: skip


def measure_impacts(field: Field) -> list[Row]:
    """What changes when rules, a gauge or a fact do, each over every ball, beside selecting the columns that it needs."""
    fact = _corrected_calibration(field)
    store = open_store(field.plant.url)
    beside = _beside(store)
    open_looks = partial(open_long_reader, store, beside)
    asked: list[tuple[str, Callable[[Reader], Any]]] = [
        (f"what changes from {EARLIER} to {RULEBOOK}",
         lambda reader: impact_of_rules(reader, Selection(), Under(EARLIER), Under(RULEBOOK))),
        (f"what would differ under {RULEBOOK} had all been made on {MADE_ON}",
         lambda reader: impact_of_rules(
             reader, Selection(), Under(RULEBOOK), Under(RULEBOOK, made_on=MADE_ON), listed=100)),
        ("what a bias of the gauge that weighed every ball changes",
         lambda reader: impact_of_gauge(reader, GAUGE, RULEBOOK, bias=BIAS, listed=100)),
        ("what a corrected calibration of that gauge changes",
         lambda reader: impact_of_correction(reader, fact, RULEBOOK, listed=100)),
    ]  # fmt: skip
    rows = [_impact(field, open_looks, what, ask) for what, ask in asked]
    beside.close()
    store.close()
    return rows


def _impact(
    field: Field,
    open_looks: Callable[[], AbstractContextManager[Reader]],
    what: str,
    ask: Callable[[Reader], Any],
) -> Row:
    """A question and its floor in turn; the target holds for a million balls."""
    taken: list[float] = []
    selected: list[float] = []
    for _ in range(field.sizes.rounds):
        selected.append(_select(field.plant.url))
        with open_looks() as reader:
            began = time.perf_counter()
            ask(reader)
            taken.append(time.perf_counter() - began)
    large = field.balls >= 1_000_000
    return Row(
        what=what,
        measured=f"{median(taken):.2f} s",
        floor=f"SELECT of the same columns {median(selected):.2f} s",
        ratio=ratios(taken, selected)[1],
        target=f"under {IMPACT_SECONDS:.0f} s" if large else "",
        reached=median(taken) < IMPACT_SECONDS if large else None,
    )


def _beside(store: Store) -> Beside:
    """The second process, ready, as it is in a service after its first question."""
    beside = Beside(store.url)
    beside.begin(_nothing).result()
    return beside


def _nothing(_inside: Inside) -> None:
    """Asks for nothing but an answer."""


def _corrected_calibration(field: Field) -> str:
    """Correct the calibration of the gauge that weighed every ball, on the product's copy; the address of the fact."""
    began, due = (_at(field.plant.began_ms + hours * HOUR_MS) for hours in (0, 10_000))
    store = open_store(field.plant.url)
    with open_long_reader(store) as reader:
        fact = reader.facts_about(f"gauge:{GAUGE}")[-1].address
    store.close()
    said = {"kind": "gauge-calibrated", "at": began, "gauge": GAUGE, "as_found_good": True, "due_at": due}
    changes = [{"fact": fact, "replacement": {**said, "expanded": BIAS}}]
    correction = {"kind": "correction", "at": due, "reason": "typing", "changes": changes}
    book = field.open()
    try:
        say(book, field.plant, [("corrected-calibration", msgspec.json.encode([correction]))])
    finally:
        book.close()
    return fact


def _at(ms: int) -> str:
    return format_instant(Instant(ms, 0))


def _select(url: str) -> float:
    """Seconds that it takes to fetch the columns that the pass reads, as they are stored: values, U and instants packed."""
    began = time.perf_counter()
    for _ in stream_rows(url, 'SELECT "unit", "lot", "manner", "numbers" FROM "measured" ORDER BY "unit"'):
        pass
    return time.perf_counter() - began


def _loop(reader: Reader) -> float:
    """Seconds a ball, judged one by one."""
    rulebook = shipped_rulebooks()[RULEBOOK].rulebook
    selected = select_balls(reader.transaction, Selection(limit=SAMPLE))
    grounds = grounds_of(reader, selected)
    began = time.perf_counter()
    for one in selected:
        judge_ball(rulebook, facts_from_rows(judged_rows(one, grounds), rulebook))
    return (time.perf_counter() - began) / max(1, len(selected))
