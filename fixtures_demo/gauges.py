"""The plant's gauges: two stations with one gauge a quantity each, and a spare for out-of-round.

Uncertainties (expanded, k = 2) are invented, of the size that such gauges have (common practice, no source).
"""

from __future__ import annotations

from typing import NamedTuple

from fixtures_demo.days import FIRST, clock, told
from ledger.line.gauges import GaugeCalibrated, GaugeRegistered
from ledger.line.record import Record


class Measure(NamedTuple):
    """How a quantity is read: prefix of its gauges, unit, decimal places, smallest step, expanded uncertainty."""

    prefix: str
    unit: str
    places: int
    step: float
    expanded: str


MEASURES: dict[str, Measure] = {
    "mass": Measure("MS", "lb", 2, 0.01, "0.01"),
    "circumference": Measure("CF", "in", 3, 0.001, "0.003"),
    "out_of_round": Measure("RO", "in", 4, 0.0001, "0.0004"),
    "hardness": Measure("HD", "shore_d", 1, 0.5, "1.0"),
    "roughness": Measure("RA", "uin", 0, 1, "3"),
    "rg_low": Measure("GL", "in", 3, 0.001, "0.002"),
    "rg_high": Measure("GH", "in", 3, 0.001, "0.002"),
    "top_weight": Measure("TW", "oz", 2, 0.05, "0.10"),
}

SPARE = "RO-3"


def gauge_of(quantity: str, station: int) -> str:
    """The gauge of a quantity at station 1 or 2."""
    return f"{MEASURES[quantity].prefix}-{station}"


def gauge_records(overdue: str, overdue_at: int) -> tuple[Record, ...]:
    """Every gauge registered and calibrated before the first day; ``overdue`` falls due early, at ``overdue_at`` ms."""
    at = told(clock(FIRST, "05:50"))
    due = told(clock(FIRST.replace(year=2027), "18:00"))
    records: list[Record] = []
    names = [(quantity, gauge_of(quantity, station)) for station in (1, 2) for quantity in MEASURES]
    for quantity, gauge in [*names, ("out_of_round", SPARE)]:
        measure = MEASURES[quantity]
        records += [
            GaugeRegistered(
                at=at,
                gauge=gauge,
                quantity=quantity,
                unit=measure.unit,
                resolution=f"{measure.step:.{measure.places}f}",
            ),
            GaugeCalibrated(
                at=at,
                gauge=gauge,
                as_found_good=True,
                due_at=told(overdue_at) if gauge == overdue else due,
                expanded=measure.expanded,
            ),
        ]
    return tuple(records)
