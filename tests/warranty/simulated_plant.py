"""Plants simulated ball by ball from a seed: lots, sales, claims; and the weekly looks over a year of them.

A plant pours for a year, sells what it pours over the following weeks, and is looked at weekly through its second year.
Claims come by a Weibull law of age with shape 1.5, 2 in 100 balls within their first year.  All figures are invented.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from ledger.line.making_rows import Made
from ledger.line.rows import Descent
from ledger.warranty.exposure import Cohort, Spells
from ledger.warranty.lot_signals import LOOKS_A_YEAR, Q, Roll, signalled
from ledger.warranty.members import Family, Ground

Array = np.ndarray[Any, np.dtype[Any]]

WEEK_MS = 7 * 86_400_000
LOTS, BALLS, WEEKS = 60, 300, 52
SHAPE, IN_A_YEAR = 1.5, 0.02
BAD = 5.0


class SimulatedPlant(NamedTuple):
    """Day of sale and of claim (large: never) of every ball, and its lot."""

    sold: Array
    claimed: Array
    lot: Array


def _edge(child: str, parent: str, part: str, *, blended: bool = False) -> Descent:
    return Descent(
        descent=f"{child}<{parent}", child=child, parent=parent, part=part, blended=blended, amount=1, first=None, last=None
    )  # fmt: skip


def _made(lot: str, number: int) -> Made:
    moulds = f"MS-{number % 4}"
    return Made(
        made=f"{number}.0", lot=lot, after=0, line=f"L-{number % 3}", mould_set=moulds, mixer="MX", from_ms=0, to_ms=0
    )


def ground() -> Ground:
    """Sixty shell lots of two models; a core lot for two of them, a block lot for two core lots, and so on up to the drum."""
    shells = [f"S{number}" for number in range(LOTS)]
    edges, stages = [], dict.fromkeys(shells, "shell")
    for number, shell in enumerate(shells):
        core, batch, drum = f"C{number // 2}", f"B{number // 3}", f"D{number // 10}"
        edges += [_edge(shell, core, "core"), _edge(shell, batch, "colour:red")]
        if number % 7 == 6:  # two core lots in one shell lot: each is possible
            edges.append(_edge(shell, f"C{number // 2 - 1}", "core"))
        edges += [_edge(core, f"K{number // 4}", "block"), _edge(batch, drum, f"material:{drum}", blended=True)]
        stages |= {core: "core", f"K{number // 4}": "block", batch: "batch", drum: "material"}
    return Ground(
        cohorts=[Cohort(shell, "E-1", f"M{number % 2}") for number, shell in enumerate(shells)],
        stages=stages,
        poured={shell: number * WEEKS // LOTS * WEEK_MS for number, shell in enumerate(shells)},
        edges=list({edge.descent: edge for edge in edges}.values()),
        made=[_made(shell, number) for number, shell in enumerate(shells)],
        steps={},
    )


def sold_from(lot: int) -> int:
    """The week in which the first balls of a lot are sold."""
    return lot * WEEKS // LOTS + 2


def simulate(rng: np.random.Generator, bad: int | None) -> SimulatedPlant:
    """One plant; lot ``bad`` has five times the rate of the others."""
    lot = np.repeat(np.arange(LOTS), BALLS)
    sold = 7 * (sold_from(0) + lot * WEEKS // LOTS + rng.integers(0, 18, lot.size))
    scale = 364 / (-np.log1p(-IN_A_YEAR)) ** (1 / SHAPE)
    hazard = np.where(lot == bad, BAD, 1.0) * rng.exponential(size=lot.size) ** -1.0
    age = scale * hazard ** (-1 / SHAPE)
    return SimulatedPlant(sold, sold + np.ceil(age).astype(np.int64), lot)


def spells_at(plant: SimulatedPlant, day: int) -> Spells:
    """What is known at the beginning of a day, balls alike counted together."""
    known = plant.sold < day
    lot, sold, claimed = plant.lot[known], plant.sold[known], plant.claimed[known] < day
    days = np.where(claimed, plant.claimed[known], day) - sold
    keys, balls = np.unique((lot * 2 + claimed) * 4_096 + days, return_counts=True)
    code, days = keys // 4_096, keys % 4_096
    hit = code % 2 == 1
    return Spells(code // 2, np.maximum(days, 0.5), balls, hit, ~hit)


class Found(NamedTuple):
    """The first look at which a member signalled, and its claims then."""

    week: int
    claims: int


def first_signals(roll: Roll, plant: SimulatedPlant, q: float = Q) -> dict[tuple[Family, str], Found]:
    """Every member that signalled at some weekly look of the second year, with when it first did."""
    found: dict[tuple[Family, str], Found] = {}
    for look in range(LOOKS_A_YEAR):
        compared = roll.compare(spells_at(plant, (WEEKS + look) * 7))
        for place in np.flatnonzero(signalled(compared, q)):
            found.setdefault(roll.names[place], Found(look, int(compared.claims[place])))
    return found
