"""What the gauges show of one ball: chance around its model's middle, rounded to the gauge's step.

The spreads are invented.  A few balls come out at the edge of a limit, and a few beyond it.
"""

from __future__ import annotations

import random
from decimal import Decimal
from typing import NamedTuple

from fixtures_demo.gauges import MEASURES, gauge_of
from fixtures_demo.models import INSPECTED, DemoModel
from ledger.line.inspections import Reading

REPEATED = {"hardness": "median", "roughness": "mean"}
"""Quantities that are read three times, and the statistic that stands for them."""


class Made(NamedTuple):
    """How one ball came out, quantity by quantity, in the unit that its gauge shows."""

    mass: float
    circumference: float
    out_of_round: float
    hardness: float
    roughness: float
    rg_low: float
    rg_high: float
    top_weight: float


def make_ball(rng: random.Random, model: DemoModel, weight_class: int) -> Made:
    """A ball of a model and class."""
    heaviest = 15.955 if weight_class == 16 else weight_class + 0.11
    rg_low = rng.gauss(model.rg_low, 0.004)
    return Made(
        mass=rng.gauss(heaviest, 0.022),
        circumference=rng.gauss(26.862, 0.022),
        out_of_round=min(abs(rng.gauss(0.0041, 0.0024)), 0.0118),
        hardness=rng.gauss(model.hardness, 1.2),
        roughness=max(rng.gauss(model.roughness, 5), 8),
        rg_low=rg_low,
        rg_high=rg_low + rng.gauss(model.differential, 0.0017),
        top_weight=rng.uniform(1.8, 3.4),
    )


def fails(readings: tuple[Reading, ...]) -> str:
    """The first limited quantity that is not met, as the inspector sees it on the gauges; empty if none."""
    shown = {reading.quantity: sorted(map(Decimal, reading.values))[len(reading.values) // 2] for reading in readings}
    limits = {
        "mass": shown["mass"] > 16,
        "circumference": not Decimal("26.704") <= shown["circumference"] <= Decimal("27.002"),
        "out_of_round": shown["out_of_round"] > Decimal("0.010"),
        "hardness": shown["hardness"] < 73,
        "roughness": shown["roughness"] > 65,
        "differential": shown["rg_high"] - shown["rg_low"] > Decimal("0.060"),
    }
    return next((quantity for quantity, failed in limits.items() if failed), "")


def read_ball(
    rng: random.Random, made: Made, station: int, quantities: tuple[str, ...] = INSPECTED, gauge: str = ""
) -> tuple[Reading, ...]:
    """The readings of a ball at a station; ``gauge`` takes the place of the station's own where one quantity is read."""
    return tuple(_read(rng, made, quantity, gauge or gauge_of(quantity, station)) for quantity in quantities)


def _read(rng: random.Random, made: Made, quantity: str, gauge: str) -> Reading:
    measure = MEASURES[quantity]
    true = getattr(made, quantity)
    values = [true]
    if quantity in REPEATED:
        values = [true - measure.step * rng.random() / 2, true, true + measure.step * rng.random() / 2]
    texts = tuple(f"{round(value / measure.step) * measure.step:.{measure.places}f}" for value in values)
    return Reading(
        quantity=quantity,
        unit=measure.unit,
        values=texts,
        gauge=gauge,
        statistic=REPEATED.get(quantity, "single"),  # type: ignore[arg-type]  # one of the words
        expanded=measure.expanded,
    )
