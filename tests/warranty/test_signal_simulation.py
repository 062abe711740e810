"""Simulated plants, looked at weekly for a year: false signals are held to the stated rate, and a bad lot is found.

Counts are held to binomial bounds that a true rate crosses once in 10,000 seeds, so no seed makes the tests fail.
``-s`` prints the table.
"""

from __future__ import annotations

from collections import Counter
from functools import cache
from statistics import median
from typing import Any, NamedTuple

import numpy as np
import pytest
from scipy.stats import binom

from ledger.warranty.lot_signals import Q, Roll
from ledger.warranty.members import FAMILIES, Family, family_members
from tests.warranty.simulated_plant import BAD, WEEKS, Found, first_signals, ground, simulate, sold_from

SEED = 2_027
ONCE = 1e-4
BAD_LOT = 45
"""Sold from eleven weeks before the first look on."""

EVER = 0.10
"""Plants in which any family signals falsely within the year: less than this, as `lot_signals` says."""

FOUND = 0.95
"""Plants in which the bad lot is found within the year."""


class Run(NamedTuple):
    """What the looks at some plants found, plant by plant."""

    found: list[dict[tuple[Family, str], Found]]

    @property
    def plants(self) -> int:
        """How many."""
        return len(self.found)

    def with_signal(self, family: Family | None = None) -> int:
        """Plants in which some member, or some member of a family, signalled."""
        return sum(any(family in (None, of) for of, _ in one) for one in self.found)


@cache
def roll() -> Roll:
    """The members of the plant, which are the same in each."""
    made = ground()
    return Roll(family_members(made), made.cohorts)


@cache
def holders() -> dict[tuple[Family, str], set[int]]:
    """The cohorts of each member."""
    return {named: set(held) for named, held in zip(roll().names, roll().held, strict=True)}


def run(plants: int, bad: int | None) -> Run:
    """The looks at so many plants."""
    seeds = (np.random.default_rng([SEED, number, 0 if bad is None else 1]) for number in range(plants))
    return Run([first_signals(roll(), simulate(rng, bad)) for rng in seeds])


def table(good: Run, bad: Run) -> str:
    """What both runs found, as a Markdown table."""
    first = [one["shell", f"S{BAD_LOT}"] for one in bad.found if ("shell", f"S{BAD_LOT}") in one]
    weeks = sorted(WEEKS + one.week - sold_from(BAD_LOT) for one in first)
    claims = sorted(one.claims for one in first)
    tenths = [(len(first) - 1) * tenth // 10 for tenth in (1, 9)]
    others = sum(any(BAD_LOT not in holders()[named] for named in one) for one in bad.found)
    said = Counter(family for one in good.found for family in {of for of, _ in one})
    rows = [
        ("plants with no bad lot", f"{good.plants}"),
        ("of these with a false signal within a year, any family", f"{good.with_signal()}"),
        *((f"of these in {family}", f"{said[family]}") for family in FAMILIES),
        (f"plants with one lot at {BAD:g} x the rate", f"{bad.plants}"),
        ("of these with the lot signalled within a year", f"{len(first)}"),
        ("of these with a signal on a member that has none of its balls", f"{others}"),
        ("weeks from its first sale to the signal: median (tenth, nine tenths)",
         f"{median(weeks):g} ({weeks[tenths[0]]}, {weeks[tenths[1]]})"),
        ("claims on it by then: median (tenth, nine tenths)",
         f"{median(claims):g} ({claims[tenths[0]]}, {claims[tenths[1]]})"),
    ]  # fmt: skip
    return "\n".join(["| what | found |", "| --- | --- |", *(f"| {what} | {value} |" for what, value in rows)])


SIZES: list[Any] = [(50, 20), pytest.param((1_000, 200), marks=pytest.mark.full)]


@pytest.mark.parametrize("plants", SIZES, ids=["few", "many"])
def test_rates_are_held_and_bad_lots_found(plants: tuple[int, int]) -> None:
    """No family exceeds its rate in plants without a bad lot; a lot at five times the rate signals, with what holds it."""
    good, bad = run(plants[0], None), run(plants[1], BAD_LOT)
    print(f"\n{table(good, bad)}")  # noqa: T201  # the table is what the simulation is for
    for family in FAMILIES:
        assert good.with_signal(family) <= binom.ppf(1 - ONCE, good.plants, Q)
    assert good.with_signal() <= binom.ppf(1 - ONCE, good.plants, EVER)
    found = sum(("shell", f"S{BAD_LOT}") in one for one in bad.found)
    assert found >= binom.ppf(ONCE, bad.plants, FOUND)
