"""Conformity of every ball of the book, against selecting the same columns, and against judging ball by ball."""

from __future__ import annotations

import resource
import sqlite3
import time
from statistics import median

from ledger.application.conformity_query import conformity_of
from ledger.application.judging import grounds_of, judged_rows
from ledger.conformity.from_rows import facts_from_rows
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.conformity.verdict import judge_ball
from ledger.store.engine import open_store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import Selection, select_balls
from ops.bench.field import Field
from ops.bench.figures import Row, ratios

RULEBOOK = "usbc-2026"

QUANTITIES = (
    *("mass", "circumference", "out_of_round", "hardness", "roughness", "rg_low", "rg_high", "differential"),
    *("top_weight", "diameter"),
)

SAMPLE = 400
"""Balls judged one by one, from which the time of all is worked out."""


def measure_population_pass(field: Field) -> list[Row]:
    """The pass, the selection and a sample of single balls in turn, ``rounds`` times; the rows of the table."""
    passed: list[float] = []
    selected: list[float] = []
    looped: list[float] = []
    store, balls = open_store(field.plant.url), 0
    for _ in range(field.sizes.rounds):
        selected.append(_select(str(field.product / "book.sqlite")))
        with open_reader(store) as reader:
            began = time.perf_counter()
            balls = conformity_of(reader, Selection(), RULEBOOK).tally.balls
            passed.append(time.perf_counter() - began)
            looped.append(_loop(reader) * balls)
    store.close()
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    ratio, words = ratios(passed, selected)
    times, loop_words = ratios(looped, passed)
    return [
        Row(what=f"conformity of {balls:,} balls under {RULEBOOK}, 8 quantities read of each",
            measured=f"{median(passed):.2f} s, {most:,} MB at most in the whole run",
            floor=f"SELECT of the same columns {median(selected):.2f} s",
            ratio=words, target="at most 2", reached=ratio <= 2),
        Row(what="the same, against judging ball by ball", measured=f"{median(passed):.2f} s",
            floor=f"{median(looped):,.0f} s (from {SAMPLE} balls)", ratio=loop_words, target="at least 20",
            reached=times >= 20),
    ]  # fmt: skip


def _select(path: str) -> float:
    """Seconds that it takes to fetch the columns that the pass reads."""
    names = ["unit", "lot", "manner", "weight_class", "began_ms", "engraved_ms", "first_ms", "last_ms"]
    names += ["coldest", "warmest", *(name for quantity in QUANTITIES for name in (quantity, f"{quantity}_u"))]
    connection = sqlite3.connect(path)
    began = time.perf_counter()
    cursor = connection.execute(f'SELECT {", ".join(names)} FROM "measured" ORDER BY "unit"')  # noqa: S608  # our own names
    while cursor.fetchmany(16_384):
        pass
    taken = time.perf_counter() - began
    connection.close()
    return taken


def _loop(reader: Reader) -> float:
    """Seconds a ball, judged one by one."""
    rulebook = shipped_rulebooks()[RULEBOOK].rulebook
    selected = select_balls(reader.transaction, Selection(limit=SAMPLE))
    grounds = grounds_of(reader, selected)
    began = time.perf_counter()
    for one in selected:
        judge_ball(rulebook, facts_from_rows(judged_rows(one, grounds), rulebook))
    return (time.perf_counter() - began) / max(1, len(selected))
