"""Readings outside the range of their gauge: refused when they are said, found by a re-check when the range is corrected.

A range that is put right afterwards changes no reading.  What stands of a ball or lot and lies outside is a breach of the
re-check, and holds it: the gauge cannot have shown that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from msgspec import UNSET

from ledger.errors import Contradiction
from ledger.line.fact import Breach, Fact
from ledger.line.gauges import check_range
from ledger.line.quantity import scaled_reading
from ledger.line.reading_rows import Gauge, Measured
from ledger.line.standing_readings import sources_of
from ledger.line.state import State

OUTSIDE = "outside-gauge-range"


def outside_range(record: Any, find_gauge: Callable[[str], Gauge | None]) -> Iterator[tuple[str, Contradiction]]:
    """The quantities of an inspection of which a value lies outside the range that its gauge has now, and why."""
    for reading in record.readings:
        gauge = find_gauge(reading.gauge)
        if gauge is None or gauge.unit != reading.unit:
            continue
        try:
            values = [scaled_reading(text, reading.unit, reading.quantity) for text in reading.values]
            check_range(gauge, values, where=reading.quantity)
        except Contradiction as error:
            yield reading.quantity, error


def range_breaches(fact: Fact, state: State) -> list[Breach]:
    """What of an inspection that still stands lies outside the range of its gauge. Needs what the inspection does."""
    record: Any = fact.record  # an inspection, whose kind is made with this
    gauges = {reading.quantity: reading.gauge for reading in record.readings}
    node, sources = f"lot:{record.lot}", None
    if record.unit is not UNSET:
        node, sources = f"unit:{record.unit}", sources_of(state.one(Measured, record.unit))
    breaches: list[Breach] = []
    for quantity, error in outside_range(record, lambda gauge: state.one(Gauge, gauge)):
        gauge = state.one(Gauge, gauges[quantity])
        stands = sources is None or (quantity in sources and sources[quantity].fact == fact.address)
        if gauge is None or not stands:
            continue
        said = f"{quantity} was read as {error.got} with {gauge.gauge}, which measures {error.expected}"
        mend = (
            "read it again with a gauge whose range covers it, or correct the reading or the range; then lift the hold"
        )
        breaches.append(Breach(code=OUTSIDE, node=node, said=said, fact=gauge.address, mend=mend))
    return breaches
