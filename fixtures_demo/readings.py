"""What the gauges show of one ball: chance around its model's middle, rounded to the gauge's step.

The spreads are invented.  A few balls come out at the edge of a limit, and a few beyond it.
"""

from __future__ import annotations

import random
from decimal import Decimal
from typing import NamedTuple

from fixtures_demo import bends
from fixtures_demo.gauges import MEASURES, gauge_of
from fixtures_demo.models import INSPECTED, DemoModel
from ledger.line.inspections import Reading, reading_value

REPEATED = {"hardness": (3, "median"), "roughness": (3, "mean")}
"""Quantities that are read several times, how often, and the statistic that stands for them."""

FIVE = (5, "mean")
"""How hardness is read since the house has a rule for it."""


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
        out_of_round=min(abs(rng.gauss(0.0041, 0.0027)), 0.0118),
        hardness=rng.gauss(model.hardness, 1.2),
        roughness=max(rng.gauss(model.roughness, 5), 8),
        rg_low=rg_low,
        rg_high=rg_low + rng.gauss(model.differential, 0.0017),
        top_weight=rng.uniform(1.8, 3.4),
    )


def shown_value(reading: Reading) -> Decimal:
    """What the inspector notes of a reading: its statistic."""
    return Decimal(reading_value(reading)).scaleb(-6)


def fails(readings: tuple[Reading, ...]) -> str:
    """The first limited quantity that is not met, as the inspector sees it on the gauges; empty if none."""
    shown = {reading.quantity: shown_value(reading) for reading in readings}
    limits = {
        "mass": shown["mass"] > 16,
        "circumference": not Decimal("26.704") <= shown["circumference"] <= Decimal("27.002"),
        "out_of_round": shown["out_of_round"] > Decimal("0.010"),
        "hardness": shown["hardness"] < 73,
        "roughness": shown["roughness"] > 65,
        "rg_low": shown["rg_low"] < Decimal("2.460"),
        "differential": shown["rg_high"] - shown["rg_low"] > Decimal("0.060"),
    }
    return next((quantity for quantity, failed in limits.items() if failed), "")


def read_ball(
    rng: random.Random, made: Made, station: int, at_ms: int, quantities: tuple[str, ...] = INSPECTED
) -> tuple[Reading, ...]:
    """The readings of a ball at a station at an instant."""
    return tuple(_read(rng, made, quantity, gauge_of(quantity, station), at_ms) for quantity in quantities)


def read_with(rng: random.Random, made: Made, quantity: str, gauge: str, at_ms: int) -> tuple[Reading, ...]:
    """One quantity of a ball, read with a gauge that is not the station's own."""
    return (_read(rng, made, quantity, gauge, at_ms),)


def _read(rng: random.Random, made: Made, quantity: str, gauge: str, at_ms: int) -> Reading:
    measure = MEASURES[quantity]
    true = getattr(made, quantity)
    values, statistic = [true], "single"
    if quantity in REPEATED:
        count, statistic = FIVE if quantity == "hardness" and at_ms >= bends.HOUSE_RULE_FROM else REPEATED[quantity]
        values = [rng.gauss(true, float(measure.scatter)) for _ in range(count)]
    texts = tuple(f"{round(value / measure.step) * measure.step:.{measure.places}f}" for value in values)
    return Reading(
        quantity=quantity,
        unit=measure.unit,
        values=texts,
        gauge=gauge,
        statistic=statistic,  # type: ignore[arg-type]  # one of the words
    )
