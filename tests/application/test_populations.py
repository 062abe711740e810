"""Populations from a real book: by columns as ball by ball, whatever their gauges and dates went through."""

from __future__ import annotations

import datetime as dt

import pytest

from ledger.application.adopted_files import find_rulebook
from ledger.application.judging import grounds_of, judged_rows
from ledger.application.populations import Population
from ledger.conformity.from_rows import facts_from_rows
from ledger.conformity.house import HousePolicy
from ledger.conformity.outcome import OUTCOMES, house_overall, overall
from ledger.conformity.population import judge_population
from ledger.conformity.rulebook import parse_rulebook, shipped_rulebooks
from ledger.conformity.verdict import judge_ball
from ledger.store.columns import reading_columns, unmeasured_units
from ledger.store.reader import open_reader
from ledger.store.selections import Selection, select_balls
from tests.application.floor import (
    GTIN,
    START_MS,
    Floor,
    approval,
    at,
    calibrated,
    engraved,
    inspected,
    model,
    registered,
    worked,
)
from tests.application.own_files import OWN

THREE_WAY = HousePolicy(decision="three_way")


@pytest.fixture
def varied(ready: Floor) -> Floor:
    """Balls read before and after calibrations, warm and cold, in two ways, late, twice, or never."""
    ready.say(calibrated("hardness", 60, expanded="1", as_found="0.2"))
    for number, hardness in enumerate(("72.9", "73", "73.1", "74", "80")):
        ready.ball(f"U-{number}", f"P-{number}", 70, readings={"hardness": hardness})
    ready.say(calibrated("hardness", 75, expanded="2"))
    for number, hardness in enumerate(("72.9", "73.5", "75"), 5):
        ready.ball(f"U-{number}", f"P-{number}", 80, readings={"hardness": hardness, "mass": "12.9"})
    for number, celsius in enumerate(("19", "22", "26"), 8):
        ready.say(engraved(f"U-{number}", f"P-{number}", 85))
        ready.say({**inspected(f"U-{number}", 86, hardness="74", mass="15"), "temperature_c": celsius})
        ready.say(inspected(f"U-{number}", 87, rg_low="2.5", rg_high="2.56"))
    several = inspected("U-11", 88, hardness="73.2")
    several["readings"][0] |= {"values": ["73.0", "73.4", "73.2"], "statistic": "mean", "expanded": "1.6"}
    ready.say(engraved("U-11", "P-11", 88), several)
    ready.say(engraved("U-12", "P-12", 89))
    ready.say(calibrated("mass", 95, as_found_good=False))
    ready.say(approval("M1", from_on="2026-09-26", classes=[15]))
    ready.say({"kind": "scrap", "at": at(121), "unit": "U-2", "how": "scrap", "reason": "too-soft"})
    return ready


@pytest.mark.parametrize("rulebook", sorted(shipped_rulebooks()))
@pytest.mark.parametrize("policy", [None, THREE_WAY], ids=["no policy", "three outcomes"])
def test_columns_judge_a_book_as_single_balls(varied: Floor, rulebook: str, policy: HousePolicy | None) -> None:
    """The tally of a pass over columns is that of a loop over balls, and so is each ball's outcome."""
    with open_reader(varied.book.store) as reader:
        edition = find_rulebook(reader, rulebook).rulebook
        selected = select_balls(reader.transaction, Selection())
        grounds = grounds_of(reader, selected)
        facts = [facts_from_rows(judged_rows(one, grounds), edition) for one in selected]
        population = Population(reader, Selection(), edition)
        judge = population.judge(policy)
        found: dict[str, tuple[str, str]] = {}
        for chunk in population.columns():
            judged = population.take(judge, chunk)
            outcomes = zip(judged.own.tolist(), judged.house.tolist(), strict=True)
            found |= {
                unit: (OUTCOMES[own], OUTCOMES[house]) for unit, (own, house) in zip(chunk.units, outcomes, strict=True)
            }
        tally = judge.tally()
    alone = {}
    for one, known in zip(selected, facts, strict=True):
        verdicts = judge_ball(edition, known, policy)
        alone[one.unit.unit] = (overall(verdicts), house_overall(verdicts) or "not_applicable")
    plain = judge_population(edition, facts, policy=policy, keep_worst=0)
    assert alone == found
    assert (plain.overall, plain.counts, 13) == (tally.overall, tally.counts, tally.balls)
    assert (plain.house_overall, plain.house_counts) == (tally.house_overall, tally.house_counts)


def test_another_day_of_making_is_a_what_if(varied: Floor) -> None:
    """Judged as if made in 2019, 72.9 Shore D conforms; as made, it does not."""
    with open_reader(varied.book.store) as reader:
        edition = find_rulebook(reader, "usbc-2026").rulebook
        outcomes = []
        for made_on in (None, dt.date(2019, 5, 6)):
            population = Population(reader, Selection(unit="U-0"), edition, made_on=made_on)
            judge = population.judge()
            for chunk in population.columns():
                population.take(judge, chunk)
            counts = judge.tally().counts
            outcomes.append({id: count for id, count in counts.items() if "hardness" in id and count["conforms"]})
    assert ([], True) == (list(outcomes[0]), len(outcomes[1]) > 0)


@pytest.mark.parametrize(
    ("selection", "units"),
    [
        (Selection(), 13),
        (Selection(model="M1"), 13),
        (Selection(model="M2"), 0),
        (Selection(lot="SL-1", state="scrapped"), 1),
        (Selection(unit="U-12"), 1),
        (Selection(serial="P-3"), 1),
        (Selection(from_ms=START_MS + 79 * 3_600_000), 8),
        (Selection(after="U-5"), 4),
    ],
)
def test_columns_select_the_balls_that_the_selection_means(varied: Floor, selection: Selection, units: int) -> None:
    """Measured or not, each ball of the selection comes once; in chunks of any size."""
    with open_reader(varied.book.store) as reader:
        wanted = [one.unit.unit for one in select_balls(reader.transaction, selection)]
        for chunk in (1, 3, 100):
            found = [
                unit for columns in reading_columns(reader, selection, ("mass",), chunk=chunk) for unit in columns.units
            ]
            assert sorted(wanted) == sorted(found + unmeasured_units(reader, selection))
    assert units == len(wanted)


def test_a_gauge_of_another_unit_is_another_manner(ready: Floor) -> None:
    """Read in kilograms, a ball is converted for a limit in pounds, in columns too."""
    ready.say({**registered("mass"), "gauge": "G-KG", "unit": "kg"}, {**calibrated("mass"), "gauge": "G-KG"})
    ready.say(engraved("U-1", "P-1"))
    in_kg = inspected("U-1", 71, mass="7.3")
    in_kg["readings"][0] |= {"gauge": "G-KG", "unit": "kg"}
    ready.say(in_kg)
    counts = ready.book.conformity(Selection(), "usbc-2026").tally.counts["usbc.weight"]
    assert 1 == counts["does_not_conform"]


SCOPED = """
[[requirement]]
id = "own.{name}"
row = "PLANT-{name}"
quantity = "hardness"
operator = ">="
limits = ["{limit}"]
unit = "shore_d"
clock = "manufacture"
decision = "simple"
source = "plant standard"
provenance = "read"
scope = {{ {scope} }}
"""


def test_kinds_and_finish_reach_the_columns(ready: Floor) -> None:
    """A limit for a kind and one for a finish come out by columns as ball by ball: by model, by lot and by own work."""
    raw = (
        OWN
        + "".join(
            SCOPED.format(name=name, limit=limit, scope=scope)
            for name, limit, scope in (
                ("kind", 90, 'kind = "urethane", kind_unstated = "undecided"'),
                ("sanded", 76, 'finish = "sanded"'),
                ("polished", 75, 'finish = "polished"'),
            )
        ).encode()
    )
    edition = parse_rulebook(raw)
    for number in range(4):
        ready.ball(f"U-{number}", f"P-{number}", 70, readings={"hardness": "74.5"})
    outcomes = []
    for record in (
        {"kind": "rework", "at": at(80), "unit": "U-1", "operation": "resurface", "station": "R-1"},
        {"kind": "unit-worked", "at": at(81), "unit": "U-2", "step": "sanded", "station": "R-1"},
        model("M1", GTIN, revision=2, at=at(82), kinds=[{"kind": "urethane", "is": True}], finish="polished"),
        worked("SL-1", "sanded", 66),
        {"kind": "unit-worked", "at": at(83), "unit": "U-3", "step": "polished", "station": "R-1"},
    ):
        ready.say(record)
        ready.say(*(inspected(f"U-{number}", 84, hardness="74.5") for number in (1, 2, 3)))
        with open_reader(ready.book.store) as reader:
            selected = select_balls(reader.transaction, Selection())
            grounds = grounds_of(reader, selected)
            facts = [facts_from_rows(judged_rows(one, grounds), edition) for one in selected]
            population = Population(reader, Selection(), edition)
            judge = population.judge(None)
            for chunk in population.columns():
                population.take(judge, chunk)
            tally = judge.tally()
        plain = judge_population(edition, facts, keep_worst=0)
        assert (plain.overall, plain.counts) == (tally.overall, tally.counts)
        outcomes.append([
            tally.counts["own.kind"]["does_not_conform"],
            *(tally.counts[f"own.{name}"][outcome] for name in ("sanded", "polished") for outcome in ("does_not_conform", "undecided")),
        ])  # fmt: skip
    assert [[0, 0, 4, 0, 4], [0, 1, 3, 0, 3], [4, 1, 1, 2, 1], [4, 3, 1, 0, 1], [4, 2, 1, 1, 1]] == outcomes
