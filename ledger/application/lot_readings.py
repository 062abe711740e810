"""Readings that name no ball: they belong to a lot, and are shown and judged as the lot's."""

from __future__ import annotations

from collections.abc import Collection, Iterable

import msgspec

from ledger.application.histories import instant_text
from ledger.conformity.from_rows import GaugeRows
from ledger.conformity.lot_readings import measured_of_lot
from ledger.line.quantity import format_number
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy, LotReading
from ledger.store.reader import Reader
from ledger.store.selections import rows_with


class LotReadingSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A reading of a lot and its standard uncertainty; ``unusable`` says why it may not be judged by."""

    lot: str
    quantity: str
    value: str
    unit: str
    gauge: str
    at: str
    fact: str
    standard_uncertainty: str = ""
    uncertainty_from: str = ""
    unusable: str = ""


def lot_readings(reader: Reader, lots: Collection[str]) -> tuple[LotReadingSeen, ...]:
    """Every reading of the lots, by lot, quantity and instant. Four queries."""
    rows: list[LotReading] = rows_with(reader, LotReading, "lot", lots)
    gauges = gauges_of(reader, rows)
    ordered = sorted(rows, key=lambda row: (row.lot, row.quantity, row.at_ms, row.lot_reading))
    return tuple(_seen(row, gauges) for row in ordered)


def gauges_of(reader: Reader, rows: Iterable[LotReading]) -> GaugeRows:
    """What is known of the gauges that took readings of lots: three queries, none where there are no readings."""
    names = {row.gauge for row in rows}
    if not names:
        return GaugeRows()
    calibrations: dict[str, list[Calibration]] = {}
    for calibration in rows_with(reader, Calibration, "gauge", names):
        calibrations.setdefault(calibration.gauge, []).append(calibration)
    studies: dict[str, list[GaugeStudy]] = {}
    for study in rows_with(reader, GaugeStudy, "gauge", names):
        studies.setdefault(study.gauge, []).append(study)
    gauges: list[Gauge] = rows_with(reader, Gauge, "gauge", names)
    return GaugeRows(calibrations, {gauge.gauge: gauge for gauge in gauges}, studies)


def _seen(row: LotReading, gauges: GaugeRows) -> LotReadingSeen:
    measured = measured_of_lot(row, gauges)
    return LotReadingSeen(
        lot=row.lot,
        quantity=row.quantity,
        value=format_number(measured.value),
        unit=row.unit_of,
        gauge=row.gauge,
        at=instant_text(row.at_ms),
        fact=measured.fact,
        standard_uncertainty="" if measured.u is None else format_number(measured.u),
        uncertainty_from=measured.u_from,
        unusable=measured.why_unusable,
    )
