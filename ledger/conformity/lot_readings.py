"""Readings that name no ball: of a lot, such as the density of a component, as they are judged.

The row keeps neither the number of values nor their statistic, so the scatter of one reading is taken: too much rather
than too little.  Of several readings of one quantity the newest that is usable stands, else the newest.
"""

from __future__ import annotations

from collections.abc import Iterable

from ledger.conformity.facts import Measured
from ledger.conformity.from_rows import GaugeRows
from ledger.conformity.reading_uncertainty import GaugeGround, reading_uncertainty
from ledger.line.fact import parse_address
from ledger.line.gauge_studied import newest_study
from ledger.line.gauges import calibration_at, standing_at
from ledger.line.reading_rows import LotReading
from ledger.line.standing_readings import Manner


def measured_of_lot(row: LotReading, gauges: GaugeRows) -> Measured:
    """One reading of a lot, its uncertainty, and whether its gauge lets it be used."""
    made = gauges.calibrations.get(row.gauge, ())
    gauge, standing = gauges.gauges.get(row.gauge), standing_at(made, row.at_ms)
    ground = GaugeGround(gauge, calibration_at(made, row.at_ms), newest_study(gauges.studies.get(row.gauge, ())))
    doubt = reading_uncertainty(Manner(row.unit_of, row.gauge, "single", 1), row.expanded, ground)
    return Measured(
        value_scaled=row.value,
        unit=row.unit_of,
        u_scaled=doubt.u_scaled,
        repeat_scaled=doubt.repeat_scaled,
        u_from=doubt.said,
        gauge=row.gauge,
        definition="" if gauge is None else gauge.definition or "",
        usable=standing.usable,
        why_unusable="" if standing.usable else f"{row.gauge}: {standing.why}",
        fact=row.address,
    )


def standing_of_lot(rows: Iterable[LotReading], quantity: str, gauges: GaugeRows) -> Measured | None:
    """The reading of a quantity that stands for a lot; None where it was never read."""
    fitting = sorted((row for row in rows if row.quantity == quantity), key=_order)
    measured = [measured_of_lot(row, gauges) for row in fitting]
    usable = [one for one in measured if one.usable] or measured
    return usable[-1] if usable else None


def _order(row: LotReading) -> tuple[int, tuple[int, int]]:
    return row.at_ms, parse_address(row.address)
