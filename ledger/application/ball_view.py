"""Everything about one ball: what it is, what it is made of, how it was cured, what it measures, what was said of it."""

from __future__ import annotations

import msgspec

from ledger.application.ball_samples import SampleOf, samples_of
from ledger.application.covered import ByModelTest, BySample, by_model_test, by_sample
from ledger.application.cure_times import CureTime, cure_times
from ledger.application.histories import HoldSeen, Told, history_of, holds_over, instant_text
from ledger.application.imported_sources import imported_sources, source_words
from ledger.application.judging import JudgedBy, grounds_of, judge_selected
from ledger.application.lot_view import LotAbove, lot_above
from ledger.application.numbers import serial_rows
from ledger.conformity.from_rows import day_of, readings_from_row
from ledger.conformity.verdict import CAUTION
from ledger.errors import NotFound
from ledger.line.claim_rows import Claim
from ledger.line.quantity import format_number
from ledger.line.rows import (
    Concession,
    Lot,
    Model,
    SerialRow,
    Shipped,
    Unit,
)
from ledger.line.standing_readings import manner_of
from ledger.store.reader import Reader
from ledger.store.selections import Selected, Selection, StoredEdges, rows_with, select_balls


class BallFound(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A ball that answers to a number, with what tells it from another that does."""

    unit: str
    serial: str | None
    model: str | None
    weight_class_lb: int | None
    made_on: str
    state: str
    bears_it_now: bool


class Number(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A number that the ball bears or bore."""

    serial: str
    since: str
    until: str = ""
    own_scheme: bool = True


class ReadingSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A reading that stands, how it was taken, and its uncertainty; ``unusable`` says why it may not be judged by.

    ``values``: how many readings ``statistic`` stands for.  ``uncertainty_from``: in words, where it comes from.
    """

    quantity: str
    value: str
    unit: str
    fact: str
    gauge: str = ""
    statistic: str = "single"
    values: int = 1
    standard_uncertainty: str = ""
    uncertainty_from: str = ""
    definition: str = ""
    temperature_c: str = ""
    delay_s: str = ""
    spacing_mm: str = ""
    surface: str = ""
    unusable: str = ""


class Journey(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A shipment and, where it came back, its return."""

    shipment: str
    at: str
    purpose: str
    back_at: str = ""


class Ball(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One ball. The verdicts are the maker's own assessment, made when asked."""

    unit: str
    state: str
    lot: str
    made_on: str
    caution: str
    made_before: str = ""
    """That it was made before this book, and the line of the file that says so; empty for a ball of this book."""
    serial: str | None = None
    grade: str | None = None
    release: str | None = None
    place: int | None = None
    model: str | None = None
    model_name: str = ""
    brand: str = ""
    gtin: str = ""
    weight_class_lb: int | None = None
    numbers: tuple[Number, ...] = ()
    materials: tuple[LotAbove, ...] = ()
    cures: tuple[CureTime, ...] = ()
    readings: tuple[ReadingSeen, ...] = ()
    by_lot_sample: tuple[BySample, ...] = ()
    by_model_test: tuple[ByModelTest, ...] = ()
    judged: tuple[JudgedBy, ...] = ()
    holds: tuple[HoldSeen, ...] = ()
    concessions: tuple[Concession, ...] = ()
    journeys: tuple[Journey, ...] = ()
    claims: tuple[Claim, ...] = ()
    sample_of: tuple[SampleOf, ...] = ()
    history: tuple[Told, ...] = ()


def selected_ball(reader: Reader, unit: str) -> Selected:
    """A ball with its lot and readings. Raises NotFound."""
    found = select_balls(reader.transaction, Selection(unit=unit))
    if not found:
        raise NotFound(f"unit {unit} is not in the book", where="unit", mend="look the ball up by its serial")
    return found[0]


def find_units(reader: Reader, serial: str) -> tuple[BallFound, ...]:
    """Every ball that bears or bore a number, once each, oldest first; several where an earlier scheme repeated it."""
    # Of several times that one ball bore it, the latest counts.
    rows = {row.unit: row for row in serial_rows(reader, serial)}
    units: dict[str, Unit] = {unit.unit: unit for unit in rows_with(reader, Unit, "unit", list(rows))}
    lots: dict[str, Lot] = {lot.lot: lot for lot in rows_with(reader, Lot, "lot", {one.lot for one in units.values()})}
    return tuple(
        BallFound(
            unit=unit.unit,
            serial=unit.serial,
            model=lots[unit.lot].model,
            weight_class_lb=unit.weight_class,
            made_on=day_of(unit.engraved_ms or unit.began_ms).isoformat(),
            state=unit.state,
            bears_it_now=row.until_ms is None,
        )
        for row in rows.values()
        if (unit := units.get(row.unit)) is not None
    )


def ball_view(reader: Reader, name: str) -> Ball:
    """Everything about one ball. Raises NotFound."""
    one = selected_ball(reader, name)
    unit, lot = one.unit, one.lot
    model = None if lot.model is None else reader.one(Model, lot.model)
    above = lot_above(reader, lot.lot, unit.place)
    names = [lot.lot, *(ancestor.lot for ancestor in above.lots)]
    lots: list[Lot] = rows_with(reader, Lot, "lot", names)
    nodes = [f"unit:{unit.unit}", *(f"lot:{ancestor}" for ancestor in names)]
    sources = imported_sources(reader, [unit.unit])
    serials = sorted(reader.rows(SerialRow, "unit", name), key=lambda row: row.since_ms)
    return Ball(
        caution=CAUTION,
        made_before=source_words(sources[unit.unit]) if sources else "",
        unit=unit.unit,
        serial=unit.serial,
        state=unit.state,
        grade=unit.grade,
        release=unit.release,
        lot=lot.lot,
        place=unit.place,
        model=lot.model,
        model_name="" if model is None else model.name,
        brand="" if model is None else model.brand,
        gtin="" if model is None else model.gtin,
        weight_class_lb=unit.weight_class,
        made_on=day_of(unit.engraved_ms or unit.began_ms).isoformat(),
        numbers=tuple(_number(row) for row in serials),
        materials=above.lots,
        cures=_cures(reader, unit, lots, above.lots),
        readings=_readings(reader, one),
        by_lot_sample=by_sample(reader, lot.lot, manner_of(one.measured)),
        by_model_test=by_model_test(reader, lot, manner_of(one.measured)),
        judged=tuple(judge_selected(reader, one)),
        holds=holds_over(reader, nodes, lots, unit),
        concessions=tuple(rows_with(reader, Concession, "node", nodes)),
        journeys=_journeys(reader, name),
        claims=_claims(reader, name, [row.serial for row in serials]),
        sample_of=samples_of(reader, name),
        history=history_of(reader, [f"unit:{unit.unit}"]),
    )


def _number(row: SerialRow) -> Number:
    return Number(
        serial=row.serial,
        since=instant_text(row.since_ms),
        until="" if row.until_ms is None else instant_text(row.until_ms),
        own_scheme=row.own_scheme,
    )


def _cures(reader: Reader, unit: Unit, lots: list[Lot], above: tuple[LotAbove, ...]) -> tuple[CureTime, ...]:
    certain = {unit.lot, *(ancestor.lot for ancestor in above if ancestor.certainty == "certain")}
    return cure_times(reader, unit, lots, StoredEdges(reader).parents([lot.lot for lot in lots]), certain)


def _readings(reader: Reader, one: Selected) -> tuple[ReadingSeen, ...]:
    grounds = grounds_of(reader, [one])
    readings = readings_from_row(one.measured, grounds.calibrations, grounds.gauges, grounds.studies)
    return tuple(
        ReadingSeen(
            quantity=quantity,
            value=format_number(reading.value),
            unit=reading.unit,
            fact=reading.fact,
            gauge=reading.gauge,
            statistic=reading.statistic,
            values=reading.readings,
            standard_uncertainty="" if reading.u is None else format_number(reading.u),
            uncertainty_from=reading.u_from,
            definition=reading.definition,
            temperature_c=reading.temperature_c or "",
            delay_s=reading.delay_s or "",
            spacing_mm=reading.spacing_mm or "",
            surface=reading.surface,
            unusable=reading.why_unusable,
        )
        for quantity, reading in sorted(readings.items())
    )


def _journeys(reader: Reader, unit: str) -> tuple[Journey, ...]:
    return tuple(
        Journey(
            shipment=row.shipment,
            at=instant_text(row.at_ms),
            purpose=row.purpose,
            back_at="" if row.back_ms is None else instant_text(row.back_ms),
        )
        for row in sorted(reader.rows(Shipped, "unit", unit), key=lambda row: row.at_ms)
    )


def _claims(reader: Reader, unit: str, serials: list[str]) -> tuple[Claim, ...]:
    found: dict[str, Claim] = {claim.claim: claim for claim in reader.rows(Claim, "unit", unit)}
    for claim in rows_with(reader, Claim, "serial", serials):
        if claim.unit in {None, unit}:
            found[claim.claim] = claim
    return tuple(sorted(found.values(), key=lambda claim: (claim.opened_ms, claim.claim)))
