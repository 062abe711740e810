"""Readings, times and temperature logs as sensor elements of events.

A figure stays in the unit that it was read in and keeps its places.  A reading is one element: the gauge, the figure that
stands for the values, and U beside it where it was stated.  Which quantity it is stands in ``dataProcessingMethod``, since
the GS1 vocabulary tells no diameter from a circumference; for hardness and roughness it has no type, so those are our own,
with the unit in the type's name and ``C62`` (one).

Unit codes: UN/CEFACT Recommendation 20; those of microinch, micrometre, ounce and gram a millilitre are from memory.
"""

from __future__ import annotations

from decimal import Decimal

from msgspec import UNSET, UnsetType

from ledger.book.instant import instant_ms
from ledger.evidence.event_names import Plant, file_address
from ledger.evidence.event_shapes import Metadata, Report, Sensed
from ledger.line.cure_temperatures import TemperatureLogged
from ledger.line.inspections import Inspection, Reading, reading_value
from ledger.line.quantity import UNITS

UOM = {
    "kg": "KGM", "g": "GRM", "lb": "LBR", "oz": "ONZ", "mm": "MMT", "um": "4H", "in": "INH", "uin": "M7", "s": "SEC",
    "min": "MIN", "C": "CEL", "g_ml": "GJ", "1": "C62", "shore_d": "C62",
}  # fmt: skip
"""The code of each unit."""

_MEASURES = {
    "mass": "Mass", "length": "Length", "time": "Time", "temperature": "Temperature", "density": "Density",
    "ratio": "Dimensionless",
}  # fmt: skip
"""The GS1 type of measurement of each dimension that has one."""

_MILLIONTH = Decimal("0.000001")


def reading_elements(record: Inspection, plant: Plant) -> tuple[Sensed, ...]:
    """An inspection's readings and the conditions that it states."""
    found = [reading_element(record.at, one, plant) for one in record.readings]
    stated = conditions_element(record.at, (record.temperature_c, record.humidity_percent, record.delay_s), plant)
    return (*found, *([] if stated is None else [stated]))


def reading_element(at: str, reading: Reading, plant: Plant) -> Sensed:
    """One reading, taken at that instant."""
    metadata = Metadata(time=at, device=plant.thing("gauge", reading.gauge))
    return Sensed(metadata=metadata, report=_reports(reading, plant))


def _reports(reading: Reading, plant: Plant) -> tuple[Report, ...]:
    measure, uom = _measure(reading, plant)
    method = plant.term(reading.quantity.replace("_", "-"))
    figure = Report(type=measure, method=method, **_figures(reading), uom=uom)
    if reading.expanded is UNSET:
        return (figure,)
    return figure, Report(
        type=plant.term("expanded-uncertainty"), method=method, value=Decimal(reading.expanded), uom=uom
    )


def _measure(reading: Reading, plant: Plant) -> tuple[str, str]:
    if reading.quantity == "hardness":
        return plant.term("hardness-shore-d"), "C62"
    if reading.quantity == "roughness":
        return plant.term(f"roughness-ra-{reading.unit}"), "C62"
    return _MEASURES[UNITS[reading.unit].dimension], UOM[reading.unit]


def _figures(reading: Reading) -> dict[str, Decimal]:
    values = [Decimal(text) for text in reading.values]
    if len(values) == 1:
        return {"value": values[0]}
    ends = {"minimum": min(values), "maximum": max(values)}
    standing = Decimal(reading_value(reading)) * _MILLIONTH
    if reading.statistic == "mean":
        return {**ends, "mean": standing}
    if reading.statistic == "median":
        return {**ends, "rank": Decimal(50), "ranked": standing}
    return {"value": standing, **ends}


Conditions = tuple[str | UnsetType, str | UnsetType, str | UnsetType]
"""Temperature, relative humidity and delay of an inspection, each where it was stated."""


def conditions_element(at: str, stated: Conditions, plant: Plant) -> Sensed | None:
    """The conditions of readings taken at that instant; nothing where none is stated."""
    delay = plant.term("reading-delay")
    sorts: list[tuple[str, str | UnsetType, str]] = [
        ("Temperature", UNSET, "CEL"),
        ("RelativeHumidity", UNSET, "P1"),
        ("Time", delay, "SEC"),
    ]
    found = tuple(
        Report(type=measure, method=method, value=Decimal(value), uom=uom)
        for (measure, method, uom), value in zip(sorts, stated, strict=True)
        if value is not UNSET
    )
    return Sensed(metadata=Metadata(time=at), report=found) if found else None


def elapsed_element(from_at: str, to_at: str, method: str) -> Sensed:
    """The time from one instant to another in minutes."""
    return minutes_element(from_at, to_at, method, minutes_between(from_at, to_at))


def minutes_element(from_at: str, to_at: str, method: str, minutes: Decimal) -> Sensed:
    """So many minutes from one instant to another."""
    return Sensed(
        metadata=Metadata(start_time=from_at, end_time=to_at),
        report=(Report(type="Time", method=method, value=minutes, uom="MIN"),),
    )


def minutes_between(from_at: str, to_at: str) -> Decimal:
    """The minutes from one instant to another, to a thousandth, half to even."""
    return (Decimal(instant_ms(to_at) - instant_ms(from_at)) / 60_000).quantize(Decimal("0.001"))


def log_element(record: TemperatureLogged, plant: Plant) -> Sensed:
    """The summary of a temperature log, with the digest of its file."""
    said = record.summary
    report = Report(
        type="Temperature",
        method=plant.term("temperature-log"),
        minimum=Decimal(said.coldest_c),
        maximum=Decimal(said.warmest_c),
        mean=UNSET if said.mean_c is UNSET else Decimal(said.mean_c),
        uom="CEL",
    )
    metadata = Metadata(start_time=said.first_at, end_time=said.last_at, raw=file_address(record.digest))
    return Sensed(metadata=metadata, report=(report,))
