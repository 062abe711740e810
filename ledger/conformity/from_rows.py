"""From view rows to what is judged: one ball's model, dates and readings, as a rulebook looks at them.

The service judges by these and so does the verifier of a dossier, from rows that it folded itself.  Dates that choose a
limit are UTC dates of the event that the rulebook calls its manufacture: rows keep no offset.
"""

from __future__ import annotations

import datetime as dt
import functools
import types
from collections.abc import Collection, Iterable, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

import msgspec

from ledger.book.instant import Instant, format_instant
from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.reading_uncertainty import GaugeGround, reading_uncertainty
from ledger.conformity.rulebook import Rulebook
from ledger.line.gauge_studied import newest_study
from ledger.line.gauges import calibration_at, standing_at
from ledger.line.quantity import format_number
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy
from ledger.line.reading_rows import Measured as MeasuredRow
from ledger.line.rows import Approval, Lot, Model, Unit
from ledger.line.standing_readings import manner_of, sources_of

_DAY_MS = 86_400_000
_KINDS = msgspec.json.Decoder(dict[str, bool])


class GaugeRows(NamedTuple):
    """What is known of gauges, by their ids: what `readings_from_row` takes one by one."""

    calibrations: Mapping[str, Sequence[Calibration]] = {}
    gauges: Mapping[str, Gauge] = {}
    studies: Mapping[str, Sequence[GaugeStudy]] = {}


class JudgedRows(NamedTuple):
    """The rows that a verdict rests on.

    ``calibrations``, ``gauges``, ``studies``: those of each gauge that ``measured`` names, by its id.
    ``released_ms``: instant of the release that stands, if one does.
    """

    unit: Unit
    lot: Lot
    model: Model | None
    measured: MeasuredRow | None
    approvals: Sequence[Approval] = ()
    calibrations: Mapping[str, Sequence[Calibration]] = {}
    released_ms: int | None = None
    gauges: Mapping[str, Gauge] = {}
    studies: Mapping[str, Sequence[GaugeStudy]] = {}


def facts_from_rows(rows: JudgedRows, rulebook: Rulebook) -> BallFacts:
    """What is known of a ball when a rulebook judges it."""
    made = made_on(rows, rulebook)
    return BallFacts(
        core="asymmetric" if rows.model is not None and rows.model.core == "asymmetric" else "symmetric",
        weight_class=rows.unit.weight_class or rows.lot.weight_class,
        made_on=made,
        approved_on=approved_on(rows.approvals, made),
        finish=finish_of(rows),
        kinds={} if rows.model is None else stated_kinds(rows.model.kinds),
        readings=readings_from_row(rows.measured, rows.calibrations, rows.gauges, rows.studies),
        ball=rows.unit.serial or rows.unit.unit,
    )


def finish_of(rows: JudgedRows) -> str | None:
    """How a ball is finished: as its own last work left it, else its lot's, else as its model is; None where unknown."""
    found = rows.unit.finish or rows.lot.finish or (None if rows.model is None else rows.model.finish)
    return None if found == "unstated" else found


# A population asks the few models of a plant for every ball.
@functools.lru_cache(maxsize=1024)
def stated_kinds(text: str) -> Mapping[str, bool]:
    """The kinds of a model's row, read only, by kind."""
    return types.MappingProxyType(_KINDS.decode(text))


def readings_from_row(
    measured: MeasuredRow | None,
    calibrations: Mapping[str, Sequence[Calibration]],
    gauges: Mapping[str, Gauge],
    studies: Mapping[str, Sequence[GaugeStudy]],
    *,
    only: Collection[str] = (),
) -> dict[str, Measured]:
    """The readings that stand, by quantity: value, uncertainty, conditions, and whether the gauge lets it be used.

    ``only``: those quantities, or with none named, all.
    """
    if measured is None:
        return {}
    readings, sources = {}, sources_of(measured)
    for quantity, how in sorted(manner_of(measured).items()):
        if only and quantity not in only:
            continue
        at_ms, fact, milli_c = sources[quantity]
        made = calibrations.get(how.gauge, ())
        standing = standing_at(made, at_ms)
        gauge = gauges.get(how.gauge)
        ground = GaugeGround(gauge, calibration_at(made, at_ms), newest_study(studies.get(how.gauge, ())))
        doubt = reading_uncertainty(how, getattr(measured, f"{quantity}_u"), ground)
        readings[quantity] = Measured(
            value_scaled=getattr(measured, quantity),
            unit=how.unit,
            u_scaled=doubt.u_scaled,
            repeat_scaled=doubt.repeat_scaled,
            readings=how.readings,
            statistic=how.statistic,
            u_from=doubt.said,
            gauge=how.gauge,
            definition="" if gauge is None else gauge.definition or "",
            temperature_c=None if milli_c is None else format_number(Fraction(milli_c, 1000)),
            delay_s=how.delay_s or None,
            spacing_mm=how.spacing_mm or None,
            surface=how.surface,
            usable=standing.usable,
            why_unusable="" if standing.usable else f"{how.gauge}: {standing.why}",
            fact=fact,
        )
    return readings


def made_on(rows: JudgedRows, rulebook: Rulebook) -> dt.date | None:
    """The UTC date of the event that the rulebook calls manufacture; turning stands in for an engraving to come."""
    unit = rows.unit
    at_ms = {
        "pour": rows.lot.began_ms,
        "turning": unit.began_ms,
        "engraving": unit.began_ms if unit.engraved_ms is None else unit.engraved_ms,
        "release": rows.released_ms,
    }[rulebook.made_event]
    return None if at_ms is None else day_of(at_ms)


def day_of(ms: int) -> dt.date:
    """The UTC date of an instant."""
    return _date(ms // _DAY_MS)


# Balls by the thousand were made on few days.
@functools.lru_cache(maxsize=4096)
def _date(day: int) -> dt.date:
    return dt.date.fromisoformat(format_instant(Instant(day * _DAY_MS, 0))[:10])


def approved_on(approvals: Iterable[Approval], made: dt.date | None) -> dt.date | None:
    """The last date up to the day of making from which the model was approved, by whatever body; None where it was not."""
    dates = [row.from_on for row in approvals if row.status == "approved" and made and row.from_on <= made.isoformat()]
    return dt.date.fromisoformat(max(dates)) if dates else None
