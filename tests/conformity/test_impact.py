"""What changes between two ways of judging: counted as one would by looking at each ball."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from fractions import Fraction

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.conformity.column_frame import RANK
from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.impact import (
    Foremost,
    Transitions,
    bias_shift,
    change_keys,
    concerned_by_readings,
    concerned_by_rules,
    limited_to,
    read_for,
    transition_lines,
    verdict_changes,
    without_bias,
)
from ledger.conformity.outcome import OUTCOMES, overall
from ledger.conformity.rulebook import Rulebook, shipped_rulebooks
from ledger.conformity.verdict import judge_ball
from tests.conformity.test_columns import BOOKS, SMALL, readings

OUTCOME = st.sampled_from(OUTCOMES)
RANKS = st.lists(st.tuples(st.integers(0, 5), st.integers(0, 5)), max_size=40)


def by_quantity(book: Rulebook, facts: BallFacts) -> dict[str, str]:
    """The worst verdict on each quantity."""
    found: dict[str, list[str]] = {}
    for verdict in judge_ball(book, facts):
        found.setdefault(verdict.quantity, []).append(verdict.outcome)
    return {quantity: min(outcomes, key=lambda one: RANK[one]) for quantity, outcomes in found.items()}  # type: ignore[index]  # outcomes


@st.composite
def balls(draw: st.DrawFn) -> BallFacts:
    """A ball with some readings, made and approved on some day, or nobody knows when."""
    days = st.one_of(st.none(), st.dates(dt.date(2004, 1, 1), dt.date(2027, 1, 1)))
    made = draw(days)
    return BallFacts(
        core=draw(st.sampled_from(["symmetric", "asymmetric"])),
        weight_class=draw(st.sampled_from([None, 12, 15])),
        made_on=made,
        approved_on=None if made is None else draw(st.sampled_from([None, made])),
        event_on=draw(st.one_of(st.none(), st.just(dt.date(2025, 1, 1)))),
        readings=draw(readings()),
    )


@given(st.lists(st.tuples(OUTCOME, OUTCOME), max_size=40), st.lists(st.tuples(OUTCOME, OUTCOME), max_size=40))
def test_transitions_are_counted_as_one_by_one(columns: list[tuple[str, str]], alone: list[tuple[str, str]]) -> None:
    """Balls taken as columns and balls added singly end up in one matrix that names every outcome."""
    transitions = Transitions()
    ranks = np.array([[RANK[one] for one in pair] for pair in columns], dtype=np.int8).reshape(-1, 2)  # type: ignore[index]  # outcomes
    transitions.take(ranks[:, 0], ranks[:, 1])
    for before, after in alone:
        transitions.add(before, after)  # type: ignore[arg-type]  # outcomes
    counts = Counter([*columns, *alone])
    assert {one: {two: counts[one, two] for two in OUTCOMES} for one in OUTCOMES} == transitions.matrix


@given(st.lists(st.lists(st.integers(0, 9), max_size=8), max_size=4), st.integers(0, 5))
def test_the_foremost_are_those_of_a_sorted_list(chunks: list[list[int]], keep: int) -> None:
    """Chunk by chunk the same balls are kept, in the same order, as by sorting them all."""
    foremost, offered = Foremost(keep), []
    for number, keys in enumerate(chunks):
        units = [f"U-{number}-{place}" for place in range(2 * len(keys))]
        places = np.arange(0, 2 * len(keys), 2)
        foremost.take(np.array(keys, dtype=np.int64), units, places)
        offered += [(key, units[place]) for key, place in zip(keys, places.tolist(), strict=True)]
    expected = [unit for _, unit in sorted(offered, key=lambda one: one[0])][:keep]
    assert (expected, len(offered)) == (foremost.units, foremost.seen)


def test_the_worst_outcome_comes_first_and_the_steepest_fall() -> None:
    """A ball that does not conform any more stands before one that did not before, and before an undecided one."""
    pairs = [("undecided", "does_not_conform"), ("conforms", "undecided"), ("conforms", "does_not_conform")]
    ranks = np.array([[RANK[one] for one in pair] for pair in pairs], dtype=np.int8)  # type: ignore[index]  # outcomes
    assert [2, 0, 1] == np.argsort(change_keys(ranks[:, 0], ranks[:, 1])).tolist()


@settings(max_examples=60, deadline=None)
@given(balls(), st.sampled_from(BOOKS), st.sampled_from(BOOKS))
def test_only_the_quantities_concerned_come_out_otherwise(facts: BallFacts, before: Rulebook, after: Rulebook) -> None:
    """What is not among them comes out the same under both rulebooks, for every ball."""
    was, now = by_quantity(before, facts), by_quantity(after, facts)
    changed = {one for one in {*was, *now} if was.get(one, "not_applicable") != now.get(one, "not_applicable")}
    assert changed <= set(concerned_by_rules(before, after))


@settings(max_examples=60, deadline=None)
@given(
    balls(),
    st.sampled_from(BOOKS),
    st.dates(dt.date(2004, 1, 1), dt.date(2027, 1, 1)),
    st.sampled_from(["made", "event"]),
)
def test_dates_concern_only_what_goes_by_them(facts: BallFacts, book: Rulebook, on: dt.date, which: str) -> None:
    """As if made on another day, or for an event, only the quantities concerned come out otherwise."""
    dates = {"event_on": on} if which == "event" else {"made_on": on, "approved_on": on}
    was, now = by_quantity(book, facts), by_quantity(book, msgspec.structs.replace(facts, **dates))
    changed = {quantity for quantity in was if was[quantity] != now[quantity]}
    assert changed <= set(concerned_by_rules(book, book, other_dates=True))
    assert () == concerned_by_rules(book, book)


@settings(max_examples=60, deadline=None)
@given(balls(), st.sampled_from(BOOKS), st.sampled_from(["mass", "hardness", "rg_high", "diameter"]), st.data())
def test_a_reading_concerns_only_what_it_bears_on(
    facts: BallFacts, book: Rulebook, quantity: str, data: st.DataObject
) -> None:
    """With another reading of one quantity only the quantities concerned come out otherwise."""
    other = data.draw(readings()).get(quantity)
    kept = {name: one for name, one in facts.readings.items() if name != quantity}
    changed_facts = msgspec.structs.replace(facts, readings=kept if other is None else {**kept, quantity: other})
    was, now = by_quantity(book, facts), by_quantity(book, changed_facts)
    changed = {name for name in was if was[name] != now[name]}
    concerned = concerned_by_readings(book, [quantity])
    assert changed <= set(concerned)
    limited = limited_to(book, concerned)
    assert {name: now[name] for name in concerned} == by_quantity(limited, changed_facts)
    bearing = {name: one for name, one in changed_facts.readings.items() if name in read_for(limited)}
    assert by_quantity(limited, changed_facts) == by_quantity(
        limited, msgspec.structs.replace(changed_facts, readings=bearing)
    )


@settings(max_examples=40, deadline=None)
@given(balls(), st.sampled_from(BOOKS), st.sampled_from(BOOKS))
def test_changes_are_told_by_quantity(facts: BallFacts, before: Rulebook, after: Rulebook) -> None:
    """Each quantity whose worst verdict is another one is told once, with the limit and the margin on both sides."""
    was, now = by_quantity(before, facts), by_quantity(after, facts)
    changes = verdict_changes(judge_ball(before, facts), judge_ball(after, facts))
    none = "not_applicable"
    expected = {one: (was.get(one, none), now.get(one, none)) for one in {*was, *now}}
    assert {one: pair for one, pair in expected.items() if pair[0] != pair[1]} == {
        change.quantity: (change.before.outcome, change.after.outcome) for change in changes
    }
    ranks = [RANK[change.after.outcome] for change in changes]
    assert sorted(ranks) == ranks
    for change in changes:
        for side, book in ((change.before, before), (change.after, after)):
            named = [one for one in judge_ball(book, facts) if one.requirement == side.requirement]
            assert [(side.outcome, side.value, side.margin)] == [
                (one.outcome, one.value, one.margin) for one in named
            ] or (not named and side.outcome == none)


def test_a_bias_is_taken_out_of_what_its_gauge_read() -> None:
    """The value falls by the bias in its own unit; other gauges, ranges and uncertainties stay as they are."""
    read = Measured(value_scaled=73_500_000, unit="shore_d", u_scaled=400_000, gauge="G-1", statistic="median")
    others = {
        "roughness": Measured(value_scaled=40_000_000, unit="uin", gauge="G-2"),
        "out_of_round": Measured(value_scaled=4_000, unit="in", gauge="G-1", statistic="range"),
    }
    facts = BallFacts(core="symmetric", weight_class=15, made_on=None, readings={"hardness": read, **others})
    shifted = without_bias(facts, "G-1", 1_500_000, "shore_d")
    assert (72_000_000, 400_000) == (shifted.readings["hardness"].value_scaled, shifted.readings["hardness"].u_scaled)
    assert others == {name: shifted.readings[name] for name in others}


@pytest.mark.parametrize(
    ("of_unit", "unit", "statistic", "expected"),
    [("in", "in", "single", 2_000), ("in", "mm", "mean", 50_800), ("mm", "in", "single", 79), ("in", "in", "range", 0)],
)
def test_a_bias_is_converted_to_the_unit_of_the_value(of_unit: str, unit: str, statistic: str, expected: int) -> None:
    """One in = 25.4 mm (NIST SP 811, B.8); a range of readings does not hold the bias at all."""
    assert expected == bias_shift(2_000, of_unit, unit, statistic)
    assert Fraction(50_800, 2_000) == Fraction("25.4")


def test_transitions_in_words_leave_out_what_stays() -> None:
    """The changes alone are told, those to the worst outcome first."""
    transitions = Transitions()
    for before, after in (("conforms", "conforms"), ("conforms", "undecided"), ("undecided", "does_not_conform")):
        transitions.add(before, after)  # type: ignore[arg-type]  # outcomes
    assert [
        "1 from undecided to does not conform",
        "1 from conforms to undecided",
    ] == transition_lines(transitions.matrix)


def test_the_change_of_hardness_is_found_between_editions() -> None:
    """The editions of 2012 and 2026 differ in hardness, and not in circumference."""
    editions = shipped_rulebooks()
    concerned = concerned_by_rules(editions["usbc-2012"].rulebook, editions["usbc-2026"].rulebook)
    assert "hardness" in concerned
    assert "circumference" not in concerned
    assert overall(()) == "not_applicable"
    assert SMALL.requirements == limited_to(SMALL, read_for(SMALL)).requirements
