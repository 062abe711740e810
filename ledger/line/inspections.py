"""Inspections: readings of a ball or of a lot, taken with a gauge, under stated conditions.

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
from ledger.line.gauges import UnitText, gauge_needs, known_gauge, standing_of
from ledger.line.kind import Kind, Setting
from ledger.line.lots import known_lot
from ledger.line.quantity import scaled_reading, statistic
from ledger.line.record import DecimalText, Id, Part, Record, Slug
from ledger.line.rows import Gauge, GaugeSet, Lot, LotReading, Measured, Unit
from ledger.line.state import Need, State

# Texts and whole numbers of a record that was checked: the canonical form, without looking for what cannot be there.
_encode_sources = msgspec.json.Encoder(order="deterministic").encode

GAUGE_USE = "gauge-use:"
"""Before the gauges of an inspection, comma-separated and sorted: the node under which its use of them is found."""


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


def readings_digest(measured: Measured | None) -> str:
    """SHA-256, 64 hex digits, over the readings that stand, values and sources: it changes with every one that does.

    Without any reading it is the same, whether or not some were voided.
    """
    sources = {} if measured is None else msgspec.json.decode(measured.sources)
    standing = {
        quantity: [str(getattr(measured, quantity)), str(getattr(measured, f"{quantity}_u")), *source]
        for quantity, source in sources.items()
    }
    return sha256(encode(standing)).hexdigest()


def reading_value(reading: Reading) -> int:
    """The reading's statistic in whole millionths of its unit, rounded half to even there."""
    texts = reading.values
    if len(texts) == 1:
        return scaled(texts[0], 6)
    return round(statistic([scaled(text, 6) for text in texts], reading.statistic))


def _needs(record: Inspection, state: State) -> Iterator[Need]:
    if record.unit is not UNSET:
        yield Need(Unit, "unit", record.unit)
        yield Need(Measured, "unit", record.unit)
    if record.lot is not UNSET:
        yield Need(Lot, "lot", record.lot)
    loaded = state.memo(Gauge)
    for reading in record.readings:
        if reading.gauge not in loaded:
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
        if reading.quantity in seen:
            raise Contradiction(
                f"{reading.quantity} is read twice in one inspection",
                where=f"readings[{place}]",
                mend="send the repeated values in one reading and name the statistic",
            )
        seen.add(reading.quantity)
        breaches += _check_reading(reading, state, at_ms, node=node, place=place)
    state.memo(Gauge).update(dict.fromkeys([reading.gauge for reading in record.readings], True))
    return breaches


def _check_reading(reading: Reading, state: State, at_ms: int, *, node: str, place: int) -> list[Breach]:
    gauge = state.one(Gauge, reading.gauge) or known_gauge(state, reading.gauge, where=f"readings[{place}].gauge")
    if gauge.quantity != reading.quantity:
        raise Contradiction(
            f"gauge {reading.gauge} measures another quantity",
            expected=gauge.quantity,
            got=reading.quantity,
            where=f"readings[{place}].gauge",
            mend="name the gauge that took the reading",
        )
    if len(reading.values) > 1 and reading.statistic == "single":
        raise MalformedRecord(
            "several values need a statistic",
            expected="mean, median or range",
            got="single",
            where=f"readings[{place}].statistic",
            mend="name the statistic that the reading stands for",
        )
    for text in reading.values:
        scaled_reading(text, reading.unit, reading.quantity)
    if reading.expanded is not UNSET and scaled(reading.expanded, 6) < 0:
        raise MalformedRecord(
            "an uncertainty is not negative", got=reading.expanded, where=f"readings[{place}].expanded"
        )
    standing = standing_of(state, reading.gauge, at_ms)
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
    voided: dict[str, int] = {} if measured is None else msgspec.json.decode(measured.voided)
    columns: dict[str, Any] = {}
    at_ms, address = fact.at_ms, fact.address
    for reading in record.readings:
        # A reading reported late does not stand before a newer one, nor for a surface that is gone.
        newer = sources.get(reading.quantity)
        if at_ms < voided.get(reading.quantity, at_ms) or (newer is not None and at_ms < newer[2]):
            continue
        columns[reading.quantity] = reading_value(reading)
        columns[f"{reading.quantity}_u"] = None if reading.expanded is UNSET else scaled(reading.expanded, 6)
        sources[reading.quantity] = [
            reading.unit,
            reading.gauge,
            at_ms,
            address,
            reading.statistic,
            len(reading.values),
        ]
    said = _encode_sources(sources).decode()
    if measured is None:
        state.put(Measured(unit=record.unit, sources=said, **columns))
    else:
        state.put(msgspec.structs.replace(measured, sources=said, **columns))


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


def void_readings(state: State, unit: str, quantities: Iterable[str], at_ms: int) -> None:
    """Take out of a unit's standing readings those taken before a rework at ``at_ms`` that it can have changed."""
    measured = state.held(Measured, unit) or Measured(unit=unit, sources="{}")
    sources = msgspec.json.decode(measured.sources)
    voided = msgspec.json.decode(measured.voided)
    columns: dict[str, int | None] = {}
    for quantity in quantities:
        voided[quantity] = max(at_ms, voided.get(quantity, at_ms))
        if quantity in sources and sources[quantity][2] < at_ms:
            del sources[quantity]
            columns[quantity] = None
            columns[f"{quantity}_u"] = None
    texts = {"sources": encode(sources).decode(), "voided": encode(voided).decode()}
    state.put(msgspec.structs.replace(measured, **texts, **columns))


def _about(record: Inspection) -> Iterable[str]:
    subject = f"lot:{record.lot}" if record.unit is UNSET else f"unit:{record.unit}"
    # One node for all gauges of an inspection: a station uses the same few sets for ever, and a node a reading would be
    # half of the rows that a registration writes.
    gauges = ",".join(sorted({reading.gauge for reading in record.readings}))
    return [subject, f"{GAUGE_USE}{gauges}"]


def enter_gauge_set(node: str, state: State) -> None:
    """Enter the gauges of a `GAUGE_USE` node, so that its uses are found from any of them.

    The rows stay when no inspection is left that used the set: they say where to look, and not that there is something.
    """
    gauges = node.removeprefix(GAUGE_USE).split(",")
    if state.held(GaugeSet, f"{gauges[-1]}@{node}") is None:
        for gauge in gauges:
            state.put(GaugeSet(gauge_set=f"{gauge}@{node}", gauge=gauge, node=node))


KINDS = (Kind(Inspection, "report", _needs, _check, _effects, _about),)
