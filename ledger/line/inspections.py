"""Inspections: readings of a ball or of a lot, taken with a gauge, under stated conditions; and judged samples.

Raw repeated values are kept in the entry; the view keeps the statistic that the reading names, in the unit measured.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from hashlib import sha256
from typing import Annotated, Any, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.canonical import encode
from ledger.book.decimal_text import scaled
from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, MalformedRecord
from ledger.line.balls import known_unit
from ledger.line.fact import Breach, Fact
from ledger.line.gauges import UnitText, gauge_needs, known_gauge, standing_at
from ledger.line.kind import Kind, Setting
from ledger.line.lots import known_lot
from ledger.line.quantity import scaled_reading, statistic
from ledger.line.record import DecimalText, Digest, Id, Part, Record, Slug
from ledger.line.rows import Calibration, Lot, LotReading, Measured, SampleJudged, Unit
from ledger.line.state import Need, State


class Reading(Part, frozen=True, kw_only=True):
    """Repeated values of one quantity with one gauge. ``expanded`` is the stated U (k = 2), in the same unit."""

    quantity: Slug
    unit: UnitText
    values: Annotated[tuple[DecimalText, ...], Meta(min_length=1, max_length=50)]
    gauge: Id
    statistic: Literal["single", "mean", "median", "range"] = "single"
    expanded: DecimalText | UnsetType = UNSET


class Inspection(Record, frozen=True, kw_only=True, tag="inspection"):
    """Readings of one ball, or of a lot where no ball is named."""

    readings: Annotated[tuple[Reading, ...], Meta(min_length=1, max_length=40)]
    station: Id
    unit: Id | UnsetType = UNSET
    lot: Id | UnsetType = UNSET
    surface: Slug | UnsetType = UNSET
    temperature_c: DecimalText | UnsetType = UNSET
    humidity_percent: DecimalText | UnsetType = UNSET


class SampleVerdict(Record, frozen=True, kw_only=True, tag="sample-judged"):
    """A lot's sample for one quantity: how many were looked at, how many did not conform, and whether the lot passes."""

    lot: Id
    quantity: Slug
    n: Annotated[int, Meta(ge=1, le=10_000)]
    nonconforming: Annotated[int, Meta(ge=0, le=10_000)]
    accepted: bool
    rests_on: Digest


def readings_digest(measured: Measured | None) -> str:
    """SHA-256, 64 hex digits, over the sources of the readings that stand: it changes with every reading that does."""
    return sha256(b"" if measured is None else measured.sources.encode()).hexdigest()


def reading_value(reading: Reading) -> int:
    """The reading's statistic in whole millionths of its unit, rounded half to even there."""
    values = [scaled(text, 6) for text in reading.values]
    return values[0] if len(values) == 1 else round(statistic(values, reading.statistic))


def _needs(record: Inspection, _state: State) -> Iterator[Need]:
    if record.unit is not UNSET:
        yield Need(Unit, "unit", record.unit)
        yield Need(Measured, "unit", record.unit)
    if record.lot is not UNSET:
        yield Need(Lot, "lot", record.lot)
    for reading in record.readings:
        yield from gauge_needs(reading.gauge)


def _check(record: Inspection, state: State, _setting: Setting) -> list[Breach]:
    if (record.unit is UNSET) == (record.lot is UNSET):
        raise MalformedRecord(
            "an inspection is of one ball or of one lot",
            expected="unit or lot, not both",
            where="unit",
            mend="name the unit; name the lot only for readings that belong to no unit",
        )
    if record.unit is not UNSET:
        known_unit(state, record.unit)
        node = f"unit:{record.unit}"
    else:
        known_lot(state, str(record.lot), where="lot")
        node = f"lot:{record.lot}"
    at_ms = instant_ms(record.at)
    breaches: list[Breach] = []
    seen: set[str] = set()
    for place, reading in enumerate(record.readings):
        where = f"readings[{place}]"
        if reading.quantity in seen:
            raise Contradiction(
                f"{reading.quantity} is read twice in one inspection",
                where=where,
                mend="send the repeated values in one reading and name the statistic",
            )
        seen.add(reading.quantity)
        breaches += _check_reading(reading, state, at_ms, node=node, where=where)
    return breaches


def _check_reading(reading: Reading, state: State, at_ms: int, *, node: str, where: str) -> list[Breach]:
    gauge = known_gauge(state, reading.gauge, where=f"{where}.gauge")
    if gauge.quantity != reading.quantity:
        raise Contradiction(
            f"gauge {reading.gauge} measures another quantity",
            expected=gauge.quantity,
            got=reading.quantity,
            where=f"{where}.gauge",
            mend="name the gauge that took the reading",
        )
    if len(reading.values) > 1 and reading.statistic == "single":
        raise MalformedRecord(
            "several values need a statistic",
            expected="mean, median or range",
            got="single",
            where=f"{where}.statistic",
            mend="name the statistic that the reading stands for",
        )
    for text in reading.values:
        scaled_reading(text, reading.unit, reading.quantity)
    if reading.expanded is not UNSET and scaled(reading.expanded, 6) < 0:
        raise MalformedRecord("an uncertainty is not negative", got=reading.expanded, where=f"{where}.expanded")
    standing = standing_at(state.where(Calibration, "gauge", reading.gauge), at_ms)
    if standing.usable:
        return []
    said = f"{reading.quantity} was read with {reading.gauge}: {standing.why}; the reading is kept and not used"
    mend = "read it again with a gauge in calibration, or have the gauge calibrated and found good"
    return [
        Breach(code="gauge-unfit", node=node, said=said, holds=False, fact=standing.fact or UNSET, mend=mend),
    ]


def _effects(fact: Fact, state: State) -> None:
    record: Inspection = fact.record  # type: ignore[assignment]  # the kind table pairs them
    if record.unit is UNSET:
        _lot_effects(fact, record, state)
        return
    measured = state.held(Measured, record.unit)
    sources: dict[str, list[Any]] = {} if measured is None else msgspec.json.decode(measured.sources)
    columns: dict[str, int | None] = {}
    for reading in record.readings:
        columns[reading.quantity] = reading_value(reading)
        columns[f"{reading.quantity}_u"] = None if reading.expanded is UNSET else scaled(reading.expanded, 6)
        sources[reading.quantity] = [
            reading.unit,
            reading.gauge,
            fact.at_ms,
            fact.address,
            reading.statistic,
            len(reading.values),
        ]
    text = encode(sources).decode()
    if measured is None:
        state.put(Measured(unit=record.unit, sources=text, **columns))
    else:
        state.put(msgspec.structs.replace(measured, sources=text, **columns))


def _lot_effects(fact: Fact, record: Inspection, state: State) -> None:
    for reading in record.readings:
        row = LotReading(
            lot_reading=f"{fact.address}.{reading.quantity}",
            lot=str(record.lot),
            quantity=reading.quantity,
            value=reading_value(reading),
            unit_of=reading.unit,
            expanded=None if reading.expanded is UNSET else scaled(reading.expanded, 6),
            gauge=reading.gauge,
            at_ms=fact.at_ms,
        )
        state.put(row)


def void_readings(state: State, unit: str, quantities: Iterable[str]) -> None:
    """Take out of a unit's standing readings those that a rework can have changed."""
    measured = state.held(Measured, unit)
    if measured is None:
        return
    sources = msgspec.json.decode(measured.sources)
    columns: dict[str, int | None] = {}
    for quantity in quantities:
        if sources.pop(quantity, None) is not None:
            columns[quantity] = None
            columns[f"{quantity}_u"] = None
    state.put(msgspec.structs.replace(measured, sources=encode(sources).decode(), **columns))


def _about(record: Inspection) -> Iterable[str]:
    subject = f"lot:{record.lot}" if record.unit is UNSET else f"unit:{record.unit}"
    gauges = dict.fromkeys(f"gauge-use:{reading.gauge}" for reading in record.readings)
    return [subject, *gauges]


def _sample_check(record: SampleVerdict, state: State, _setting: Setting) -> list[Breach]:
    known_lot(state, record.lot, where="lot")
    if record.nonconforming > record.n:
        raise Contradiction(
            "more did not conform than were looked at",
            expected=f"at most {record.n}",
            got=record.nonconforming,
            where="nonconforming",
            mend="correct the two counts",
        )
    return []


def _sample_effects(fact: Fact, state: State) -> None:
    record: SampleVerdict = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        SampleJudged(
            sample=fact.address,
            lot=record.lot,
            quantity=record.quantity,
            n=record.n,
            nonconforming=record.nonconforming,
            accepted=record.accepted,
        )
    )


KINDS = (
    Kind(Inspection, "report", _needs, _check, _effects, _about),
    Kind(
        SampleVerdict,
        "decision",
        lambda record, _state: [Need(Lot, "lot", record.lot)],
        _sample_check,
        _sample_effects,
        lambda record: [f"lot:{record.lot}"],
    ),
)
