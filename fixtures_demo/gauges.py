"""The plant's gauges: two stations with one gauge a quantity each, and a spare for out-of-round.

Uncertainties (expanded, k = 2), what the certificates found and left, ranges and the scatter of one reading are invented, of
the size that such gauges have (common practice, no source).  That of the hardness gauges is known better: see `studies`.
"""

from __future__ import annotations

from typing import NamedTuple

from fixtures_demo.days import FIRST, clock, told
from ledger.line.gauges import GaugeCalibrated, GaugeRegistered
from ledger.line.record import Record
from ledger.store.blobs import put_blob
from ledger.store.engine import Store


class Measure(NamedTuple):
    """How a quantity is read: prefix of its gauges, unit, decimal places, smallest step, range, and how far off.

    ``expanded``: U of the certificate, k = 2.  ``scatter``: standard deviation of one reading.
    """

    prefix: str
    unit: str
    places: int
    step: float
    low: str
    high: str
    expanded: str
    scatter: str


MEASURES: dict[str, Measure] = {
    "mass": Measure("MS", "lb", 2, 0.01, "0", "20", "0.01", "0.003"),
    "circumference": Measure("CF", "in", 3, 0.001, "25", "29", "0.003", "0.002"),
    "out_of_round": Measure("RO", "in", 4, 0.0001, "0", "0.2", "0.0004", "0.0002"),
    "hardness": Measure("HD", "shore_d", 1, 0.5, "20", "90", "0.6", "0.8"),
    "roughness": Measure("RA", "uin", 0, 1, "0", "400", "3", "2"),
    "rg_low": Measure("GL", "in", 3, 0.001, "2.2", "3", "0.002", "0.0006"),
    "rg_high": Measure("GH", "in", 3, 0.001, "2.2", "3", "0.002", "0.0006"),
    "top_weight": Measure("TW", "oz", 2, 0.05, "0", "10", "0.10", "0.03"),
}

SPARE = "RO-3"

FOUND_AND_LEFT = {"HD-1": ("0.4", "0.1"), "HD-2": ("-0.1", "-0.1")}
"""What the first certificates of the hardness gauges say they read too much, before and after they were set."""


def gauge_of(quantity: str, station: int) -> str:
    """The gauge of a quantity at station 1 or 2."""
    return f"{MEASURES[quantity].prefix}-{station}"


def gauge_records(store: Store, overdue: str, overdue_at: int) -> tuple[Record, ...]:
    """Every gauge registered and calibrated before the first day; ``overdue`` falls due early, at ``overdue_at`` ms.

    The certificates of those that have one are stored first.
    """
    at = told(clock(FIRST, "05:50"))
    due = told(clock(FIRST.replace(year=2027), "18:00"))
    records: list[Record] = []
    names = [(quantity, gauge_of(quantity, station)) for station in (1, 2) for quantity in MEASURES]
    for quantity, gauge in [*names, ("out_of_round", SPARE)]:
        measure = MEASURES[quantity]
        due_at = told(overdue_at) if gauge == overdue else due
        records += [
            GaugeRegistered(
                at=at,
                gauge=gauge,
                quantity=quantity,
                unit=measure.unit,
                resolution=f"{measure.step:.{measure.places}f}",
                low=measure.low,
                high=measure.high,
                repeatability=measure.scatter,
            ),
            _first_calibration(store, gauge, measure, at, due_at),
        ]
    return tuple(records)


def _first_calibration(store: Store, gauge: str, measure: Measure, at: str, due_at: str) -> GaugeCalibrated:
    if gauge not in FOUND_AND_LEFT:
        return GaugeCalibrated(at=at, gauge=gauge, as_found_good=True, due_at=due_at, expanded=measure.expanded, k="2")
    found, left = FOUND_AND_LEFT[gauge]
    return GaugeCalibrated(
        at=at,
        gauge=gauge,
        as_found_good=True,
        due_at=due_at,
        expanded=measure.expanded,
        k="2",
        as_found=found,
        as_left=left,
        certificate=put_blob(store, _certificate(gauge, measure, found, left), "text/plain").digest,
    )


def _certificate(gauge: str, measure: Measure, found: str, left: str) -> bytes:
    return (
        f"Calibration certificate of gauge {gauge}, invented\n"
        f"bias as found {found}, as left {left}, U = {measure.expanded} (k = 2), in {measure.unit}\n"
    ).encode()
