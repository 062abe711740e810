"""Inspections: readings of a ball or of a lot, taken with a gauge, under stated conditions.

Raw repeated values are kept in the entry; the view keeps the statistic that the reading names, in the unit measured.
A reading that the gauge cannot have shown (another unit, a value outside its range) is refused: it is a typing error.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from hashlib import sha256
from typing import Annotated, Any, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.canonical import encode
from ledger.book.decimal_text import scaled
from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, MalformedDecimal, MalformedRecord
from ledger.line.balls import known_unit
from ledger.line.fact import Breach, Fact
from ledger.line.gauge_range import range_breaches
from ledger.line.gauges import UnitText, check_range, check_shows, gauge_needs, known_gauge, standing_of
from ledger.line.kind import Kind, Setting
from ledger.line.lots import known_lot
from ledger.line.quantity import OF_COMPONENTS, scaled_reading, statistic
from ledger.line.reading_rows import Gauge, GaugeSet, GaugeUse, LotReading, Measured
from ledger.line.record import DecimalText, Id, Part, Record, Slug
from ledger.line.rows import Lot, Unit
from ledger.line.standing_readings import (
    Manner,
    Source,
    format_manner,
    format_source,
    manner_of,
    parse_manner,
    parse_sources,
    sources_of,
)
from ledger.line.state import Need, State
from ledger.line.voided_readings import texts_of

_LONGEST_DELAY_MS = 86_400_000
_COLDEST, _WARMEST = -40_000, 100_000
"""Thousandths of a degree Celsius; common practice, no source: catches a typing error."""
_FARTHEST_UM = 350_000
"""Thousandths of a millimetre; half the circumference of a ball of 27 in and a little: catches a typing error."""
_SET_NAME = 20
"""Hex digits of a set's name: 80 bits, so that no two sets of a plant have one name."""


class Reading(Part, frozen=True, kw_only=True):
    """Repeated values of one quantity with one gauge. ``expanded`` is the stated U (k = 2), in the same unit.

    ``spacing_mm``: the least distance between two of the places where the values were read.
    """

    quantity: Slug
    unit: UnitText
    values: Annotated[tuple[DecimalText, ...], Meta(min_length=1, max_length=50)]
    gauge: Id
    statistic: Literal["single", "mean", "median", "range"] = "single"
    expanded: DecimalText | UnsetType = UNSET
    spacing_mm: DecimalText | UnsetType = UNSET


class Inspection(Record, frozen=True, kw_only=True, tag="inspection"):
    """Readings of one ball, or of a lot where no ball is named.

    ``delay_s``: seconds from firm contact to the reading.  ``surface``: the state of the surface.  Both, and the
    temperature, are said of every reading here; readings taken otherwise are another inspection.
    """

    readings: Annotated[tuple[Reading, ...], Meta(min_length=1, max_length=40)]
    station: Id
    unit: Id | UnsetType = UNSET
    lot: Id | UnsetType = UNSET
    surface: Slug | UnsetType = UNSET
    temperature_c: DecimalText | UnsetType = UNSET
    humidity_percent: DecimalText | UnsetType = UNSET
    delay_s: DecimalText | UnsetType = UNSET


def readings_digest(measured: Measured | None) -> str:
    """SHA-256, 64 hex digits, over the readings that stand, values and sources: it changes with every one that does.

    Without any reading it is the same, whether or not some were voided.
    """
    manner = manner_of(measured)
    standing = {
        quantity: [
            str(getattr(measured, quantity)),
            str(getattr(measured, f"{quantity}_u")),
            *manner[quantity].said,
            *source.said,
        ]
        for quantity, source in sources_of(measured).items()
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
    _check_conditions(record)
    at_ms = instant_ms(record.at)
    breaches: list[Breach] = []
    seen: set[str] = set()
    known = state.memo(Gauge)
    for place, reading in enumerate(record.readings):
        quantity, gauge = reading.quantity, reading.gauge
        if quantity in seen:
            raise Contradiction(
                f"{quantity} is read twice in one inspection",
                where=f"readings[{place}]",
                mend="send the repeated values in one reading and name the statistic",
            )
        seen.add(quantity)
        if (
            known.get(gauge) == (quantity, reading.unit)
            and len(reading.values) == 1
            and reading.expanded is UNSET
            and reading.spacing_mm is UNSET
            and standing_of(state, gauge, at_ms).usable
        ):
            # Most readings: one value, and all but the value is as it was in an inspection before.
            scaled_reading(reading.values[0], reading.unit, quantity)
        else:
            breaches += _check_reading(reading, state, at_ms, node=node, place=place)
            known[gauge] = _taken_again(reading, state)
    return breaches


def _taken_again(reading: Reading, state: State) -> tuple[str, str] | None:
    """What lets the next reading of a checked one's gauge pass by its value alone; none where there is more to check."""
    gauge = state.held(Gauge, reading.gauge)
    ranged = gauge is None or gauge.low_micro is not None or gauge.high_micro is not None
    return None if ranged or reading.quantity in OF_COMPONENTS else (reading.quantity, reading.unit)


def _check_conditions(record: Inspection) -> None:
    """The conditions that are stated can be, to a thousandth. Raises MalformedRecord."""
    _check_plausible(record.temperature_c, _COLDEST, _WARMEST, where="temperature_c")
    _check_plausible(record.delay_s, 0, _LONGEST_DELAY_MS, where="delay_s")


def _check_plausible(text: str | UnsetType, least: int, most: int, *, where: str) -> None:
    if text is UNSET:
        return
    try:
        plausible = least <= scaled(text, 3) <= most
    except MalformedDecimal:
        plausible = False
    if not plausible:
        raise MalformedRecord(
            f"{where.rpartition('.')[2]} cannot be",
            expected=f"{least // 1000} to {most // 1000}, at most three decimal places",
            got=text,
            where=where,
            mend="check it for a typing error, or leave it out",
        )


def _check_spacing(reading: Reading, where: str) -> None:
    """A spacing is of several values, and no farther than two places of a ball can be. Raises MalformedRecord."""
    if reading.spacing_mm is not UNSET and len(reading.values) == 1:
        raise MalformedRecord(
            "one value has no spacing",
            expected="two values or more",
            got=reading.spacing_mm,
            where=where,
            mend="send all values of the reading, or leave spacing_mm out",
        )
    _check_plausible(reading.spacing_mm, 0, _FARTHEST_UM, where=where)


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
    if reading.quantity in OF_COMPONENTS and node.startswith("unit:"):
        raise Contradiction(
            f"{reading.quantity} is read on a component's lot",
            expected="lot",
            got="unit",
            where=f"readings[{place}].quantity",
            mend="name the lot of the component, and no unit",
        )
    if len(reading.values) > 1 and reading.statistic == "single":
        raise MalformedRecord(
            "several values need a statistic",
            expected="mean, median or range",
            got="single",
            where=f"readings[{place}].statistic",
            mend="name the statistic that the reading stands for",
        )
    _check_spacing(reading, f"readings[{place}].spacing_mm")
    values = [scaled_reading(text, reading.unit, reading.quantity) for text in reading.values]
    if reading.unit != gauge.unit:
        check_shows(gauge, reading.unit, where=f"readings[{place}].unit")
    if gauge.low_micro is not None or gauge.high_micro is not None:
        check_range(gauge, values, where=f"readings[{place}].values")
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
    _enter_use(fact, record, state)
    source = Source(
        fact.at_ms, fact.address, None if record.temperature_c is UNSET else scaled(record.temperature_c, 3)
    )
    measured = state.held(Measured, record.unit)
    if measured is None:
        _enter_first(record, source, state)
    else:
        _enter_newer(record, source, measured, state)


def _enter_first(record: Inspection, source: Source, state: State) -> None:
    """The row of a ball that nothing was read of before; its whole lot's balls are mostly read once, and in one manner."""
    unit = state.held(Unit, str(record.unit))
    if unit is None:
        return
    columns: dict[str, Any] = {}
    for reading in record.readings:
        columns[reading.quantity] = reading_value(reading)
        if reading.expanded is not UNSET:
            columns[f"{reading.quantity}_u"] = scaled(reading.expanded, 6)
    taken = tuple(
        [
            (one.quantity, one.unit, one.gauge, one.statistic, len(one.values), one.spacing_mm or "")
            for one in record.readings
        ]
    )
    row = Measured(
        unit=unit.unit,
        lot=unit.lot,
        weight_class=unit.weight_class,
        began_ms=unit.began_ms,
        engraved_ms=unit.engraved_ms,
        manner=_first_manner(taken, record.surface or "", record.delay_s or ""),
        sources=format_source(source),
        first_ms=source.at_ms,
        last_ms=source.at_ms,
        coldest=source.milli_c,
        warmest=source.milli_c,
        **columns,
    )
    state.put(row)


def _enter_newer(record: Inspection, source: Source, measured: Measured, state: State) -> None:
    manner = dict(parse_manner(measured.manner))
    sources = parse_sources(measured.sources, manner)
    voided: dict[str, int] = msgspec.json.decode(measured.voided)
    columns: dict[str, Any] = {}
    for reading in record.readings:
        # A reading reported late does not stand before a newer one, nor for a surface that is gone.
        newer = sources.get(reading.quantity)
        if source.at_ms < voided.get(reading.quantity, source.at_ms) or (newer and source.at_ms < newer.at_ms):
            continue
        columns[reading.quantity] = reading_value(reading)
        columns[f"{reading.quantity}_u"] = None if reading.expanded is UNSET else scaled(reading.expanded, 6)
        sources[reading.quantity] = source
        manner[reading.quantity] = Manner(
            reading.unit,
            reading.gauge,
            reading.statistic,
            len(reading.values),
            record.surface or "",
            record.delay_s or "",
            reading.spacing_mm or "",
        )
    state.put(msgspec.structs.replace(measured, **texts_of(manner, sources), **columns))


# A station reads the same quantities with the same gauges all day.
@lru_cache(maxsize=4096)
def _first_manner(taken: tuple[tuple[str, str, str, str, int, str], ...], surface: str, delay_s: str) -> str:
    return format_manner(
        {
            quantity: Manner(unit, gauge, figure, n, surface, delay_s, spacing_mm)
            for quantity, unit, gauge, figure, n, spacing_mm in taken
        }
    )


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


def _about(record: Inspection) -> Iterable[str]:
    return [f"lot:{record.lot}" if record.unit is UNSET else f"unit:{record.unit}"]


def _enter_use(fact: Fact, record: Inspection, state: State) -> None:
    """Enter with which gauges a ball was inspected.

    The rows of a set stay when no inspection is left that used it: they say where to look, and not that there is something.
    """
    unit = state.held(Unit, str(record.unit))
    if unit is None:
        return
    rows = _gauge_set(tuple([reading.gauge for reading in record.readings]))
    if state.held(GaugeSet, rows[-1].gauge_set) is None:
        for row in rows:
            state.put(row)
    state.put(GaugeUse(unit=unit.unit, used=rows[-1].used, address=fact.address, lot=unit.lot, at_ms=fact.at_ms))


@lru_cache(maxsize=1024)
def _gauge_set(gauges: tuple[str, ...]) -> tuple[GaugeSet, ...]:
    """The rows of a set: named by a digest of its gauges, since the name stands in a row of every inspection."""
    names = sorted(set(gauges))
    used = sha256(",".join(names).encode()).hexdigest()[:_SET_NAME]
    return tuple([GaugeSet(gauge_set=f"{gauge}@{used}", gauge=gauge, used=used) for gauge in names])


KINDS = (Kind(Inspection, "report", _needs, _check, _effects, _about, range_breaches),)
