"""Balls judged by columns come out as balls judged one by one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.conformity.columns import ALONE, NO_DAY, UNSTATED, BallColumns, ColumnJudge
from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.house import HousePolicy, Rule
from ledger.conformity.outcome import OUTCOMES, house_overall, overall
from ledger.conformity.population import judge_population
from ledger.conformity.rulebook import Rulebook, parse_rulebook, shipped_rulebooks
from ledger.conformity.verdict import judge_ball

EPOCH = dt.date(1970, 1, 1)

SMALL = parse_rulebook("""
format = 1
id = "house"
body = "House"
edition = "1"
title = "Every sort of limit"
made_event = "engraving"

[[requirement]]
id = "weight"
row = "R1"
quantity = "mass"
operator = "range"
limits = ["12.5", "16"]
unit = "lb"
clock = "manufacture"
decision = "three_way"
source = "a test"
provenance = "memory"

[[requirement]]
id = "hard-old"
row = "R2"
quantity = "hardness"
operator = ">="
limits = ["72"]
unit = "shore_d"
clock = "manufacture"
effective_to = 2022-07-31
source = "a test"
provenance = "memory"

[[requirement]]
id = "hard"
row = "R3"
quantity = "hardness"
operator = ">"
limits = ["73"]
unit = "shore_d"
clock = "manufacture"
effective_from = 2022-08-01
decision = "guarded"
guard_r = "0.5"
source = "a test"
provenance = "read"

[[requirement]]
id = "spread"
row = "R4"
quantity = "differential"
operator = "<="
limits = ["0.060"]
unit = "in"
scope = { min_class_lb = "13", class_basis = "weighed", class_edge = "as weighed" }
clock = "approval"
effective_from = 2005-02-01
source = "a test"
provenance = "read"

[[requirement]]
id = "event"
row = "R5"
quantity = "hardness"
operator = ">="
limits = ["78"]
unit = "shore_d"
scope = { max_class_lb = "15", max_class_strict = true, class_basis = "weighed", class_edge = "as weighed" }
clock = "event"
effect = "bar"
source = "a test"
provenance = "read"
""")

BOOKS: list[Rulebook] = [SMALL, *(one.rulebook for one in shipped_rulebooks().values())]

POLICIES = [
    None,
    HousePolicy(decision="guarded", guard_r="1"),
    HousePolicy(decision="three_way", quantities={"hardness": Rule("guarded", "0.25")}),
]

Sizes = tuple[str, tuple[str, ...], tuple[int, int]]

QUANTITIES: list[Sizes] = [
    ("mass", ("lb", "kg"), (12_400_000, 16_100_000)),
    ("hardness", ("shore_d",), (71_000_000, 79_000_000)),
    ("rg_low", ("in", "mm"), (2_420_000, 2_480_000)),
    ("rg_high", ("in", "mm"), (2_470_000, 2_550_000)),
    ("differential", ("in",), (20_000, 90_000)),
    ("diameter", ("in",), (8_490_000, 8_600_000)),
    ("circumference", ("in",), (26_700_000, 27_010_000)),
    ("roughness", ("uin", "um"), (30_000_000, 70_000_000)),
]


def on_grid(low: int, high: int) -> st.SearchStrategy[int]:
    """Whole thousandths, so that values on a limit come up, and any other."""
    return st.one_of(st.integers(low // 100_000, high // 100_000).map(lambda n: n * 100_000), st.integers(low, high))


@st.composite
def readings(draw: st.DrawFn) -> dict[str, Measured]:
    """Some quantities, each measured or not, usable or not, with a stated U or not."""
    found = {}
    for quantity, units, (low, high) in QUANTITIES:
        if draw(st.booleans()):
            found[quantity] = Measured(
                value_scaled=draw(on_grid(low, high)),
                unit=draw(st.sampled_from(units)),
                u_scaled=draw(st.sampled_from([None, 0, 2_500, 500_000, 2_000_000])),
                usable=draw(st.sampled_from([True, True, True, False])),
                readings=draw(st.sampled_from([1, 5])),
                statistic="mean",
                fact="1.0",
            )
    return found


@st.composite
def balls(draw: st.DrawFn) -> list[BallFacts]:
    """A few hundred balls of a few kinds."""
    kinds = draw(st.lists(readings(), min_size=1, max_size=3))
    made = st.one_of(st.none(), st.dates(dt.date(2004, 12, 1), dt.date(2026, 3, 1)))
    found = []
    for number in range(draw(st.integers(1, 40))):
        kind = draw(st.sampled_from(kinds))
        again = {
            quantity: _another(draw, quantity, reading) if quantity in kind else reading
            for quantity, reading in kind.items()
        }
        found.append(
            BallFacts(
                core=draw(st.sampled_from(["symmetric", "asymmetric"])),
                weight_class=draw(st.sampled_from([None, 12, 15])),
                made_on=draw(made),
                approved_on=draw(st.sampled_from([None, dt.date(2004, 1, 1), dt.date(2021, 5, 1)])),
                event_on=draw(st.sampled_from([None, dt.date(2026, 1, 1)])),
                readings=again,
                ball=f"B{number:04}",
            )
        )
    return found


def _another(draw: st.DrawFn, quantity: str, reading: Measured) -> Measured:
    low, high = next(ends for name, _, ends in QUANTITIES if name == quantity)
    return Measured(
        value_scaled=draw(on_grid(low, high)),
        **{name: getattr(reading, name) for name in reading.__struct_fields__ if name != "value_scaled"},
    )


def as_columns(found: Sequence[BallFacts], alone: int = 0) -> BallColumns:
    """The balls as columns, sorted into situations; every ``alone``-th is judged by itself."""
    situations: dict[Any, int] = {}
    codes = []
    for place, one in enumerate(found):
        how = tuple(
            (quantity, reading.unit, reading.usable, reading.readings)
            for quantity, reading in sorted(one.readings.items())
        )
        key = (how, one.core, one.weight_class, one.approved_on, one.event_on)
        codes.append(ALONE if alone and place % alone == 0 else situations.setdefault(key, len(situations)))
    names = [quantity for quantity, _, _ in QUANTITIES]

    def column(name: str, part: str) -> Any:
        cells = [getattr(one.readings[name], part) if name in one.readings else 0 for one in found]
        return np.array([UNSTATED if cell is None else cell for cell in cells], dtype=np.int64)

    quantities = {one.quantity for book in BOOKS for one in book.requirements} | set(names)
    zeros = np.zeros(len(found), dtype=np.int64)
    return BallColumns(
        units=[one.ball for one in found],
        situation=np.array(codes, dtype=np.int64),
        made_day=np.array([NO_DAY if one.made_on is None else (one.made_on - EPOCH).days for one in found]),
        values={name: column(name, "value_scaled") if name in names else zeros for name in quantities},
        stated={name: column(name, "u_scaled") if name in names else zeros + UNSTATED for name in quantities},
    )


def judged_by_columns(
    rulebook: Rulebook, found: Sequence[BallFacts], policy: HousePolicy | None, alone: int
) -> tuple[ColumnJudge, Any]:
    """The judge after one chunk, and its outcomes ball by ball."""
    known = {one.ball: one for one in found}
    judge = ColumnJudge(rulebook, lambda units: [known[unit] for unit in units], policy=policy)
    return judge, judge.take(as_columns(found, alone), lambda _situation: (), each=True)


@pytest.mark.parametrize("rulebook", BOOKS, ids=lambda book: book.id)
@pytest.mark.parametrize("policy", POLICIES, ids=["no policy", "guarded", "three way"])
@settings(max_examples=4)
@given(found=balls(), alone=st.sampled_from([0, 0, 3]))
def test_columns_and_single_balls_agree(
    rulebook: Rulebook, policy: HousePolicy | None, found: list[BallFacts], alone: int
) -> None:
    """Ball by ball, requirement by requirement, by the limit and by the house."""
    _, judged = judged_by_columns(rulebook, found, policy, alone)
    for place, facts in enumerate(found):
        verdicts = judge_ball(rulebook, facts, policy)
        assert overall(verdicts) == OUTCOMES[judged.own[place]]
        assert (house_overall(verdicts) or "not_applicable") == OUTCOMES[judged.house[place]]
        each = {one.requirement: one.outcome for one in verdicts}
        assert each == {id: OUTCOMES[ranks[place]] for id, ranks in judged.each.items()}


@pytest.mark.parametrize("rulebook", BOOKS[:2], ids=lambda book: book.id)
@settings(max_examples=15)
@given(found=balls(), alone=st.sampled_from([0, 3]), policy=st.sampled_from(POLICIES))
def test_the_tally_is_that_of_single_balls(
    rulebook: Rulebook, found: list[BallFacts], alone: int, policy: HousePolicy | None
) -> None:
    """Counts, house counts, and the worst balls with their margins."""
    judge, _ = judged_by_columns(rulebook, found, policy, alone)
    assert judge_population(rulebook, found, policy=policy) == judge.tally()


@settings(max_examples=15)
@given(found=balls(), cut=st.integers(1, 20))
def test_chunks_add_up(found: list[BallFacts], cut: int) -> None:
    """However the balls are cut into chunks, the tally is the same."""
    known = {one.ball: one for one in found}
    whole = as_columns(found)
    judge = ColumnJudge(SMALL, lambda units: [known[unit] for unit in units])
    for first in range(0, len(found), cut):
        rows = slice(first, first + cut)
        part = BallColumns(
            whole.units[rows],
            whole.situation[rows],
            whole.made_day[rows],
            {name: cells[rows] for name, cells in whole.values.items()},
            {name: cells[rows] for name, cells in whole.stated.items()},
        )
        judge.take(part, lambda _situation: ())
    assert judge_population(SMALL, found) == judge.tally()


def test_no_balls_give_an_empty_tally() -> None:
    """Nothing judged, nothing counted."""
    judge, _ = judged_by_columns(SMALL, [], None, 0)
    assert judge_population(SMALL, []) == judge.tally()
