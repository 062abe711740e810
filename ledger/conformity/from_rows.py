"""From view rows to what is judged: one ball's model, dates and readings, as a rulebook looks at them.

The service judges by these and so does the verifier of a dossier, from rows that it folded itself.  Dates that choose a
limit are UTC dates of the event that the rulebook calls its manufacture: rows keep no offset.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import msgspec

from ledger.book.instant import Instant, format_instant
from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.rulebook import Rulebook
from ledger.line.gauges import standing_at
from ledger.line.rows import Approval, Calibration, Lot, Model, Unit
from ledger.line.rows import Measured as MeasuredRow


class JudgedRows(NamedTuple):
    """The rows that a verdict rests on. ``calibrations``: those of each gauge that ``measured`` names.

    ``released_ms``: instant of the release that stands, if one does.
    """

    unit: Unit
    lot: Lot
    model: Model | None
    measured: MeasuredRow | None
    approvals: Sequence[Approval] = ()
    calibrations: Mapping[str, Sequence[Calibration]] = {}
    released_ms: int | None = None


def facts_from_rows(rows: JudgedRows, rulebook: Rulebook) -> BallFacts:
    """What is known of a ball when a rulebook judges it."""
    made = made_on(rows, rulebook)
    return BallFacts(
        core="asymmetric" if rows.model is not None and rows.model.core == "asymmetric" else "symmetric",
        weight_class=rows.unit.weight_class or rows.lot.weight_class,
        made_on=made,
        approved_on=approved_on(rows.approvals, made),
        readings=readings_from_row(rows.measured, rows.calibrations),
        ball=rows.unit.serial or rows.unit.unit,
    )


def readings_from_row(
    measured: MeasuredRow | None, calibrations: Mapping[str, Sequence[Calibration]]
) -> dict[str, Measured]:
    """The readings that stand, by quantity, each with whether its gauge lets it be used.

    The standard uncertainty is half the stated expanded one (k = 2).
    """
    if measured is None:
        return {}
    readings = {}
    for quantity, (unit, gauge, at_ms, fact, *_) in sorted(sources_of(measured).items()):
        standing = standing_at(calibrations.get(gauge, ()), at_ms)
        expanded = getattr(measured, f"{quantity}_u")
        readings[quantity] = Measured(
            value_scaled=getattr(measured, quantity),
            unit=unit,
            u_scaled=None if expanded is None else expanded // 2,
            usable=standing.usable,
            why_unusable="" if standing.usable else f"{gauge}: {standing.why}",
            fact=fact,
        )
    return readings


def sources_of(measured: MeasuredRow | None) -> dict[str, list[Any]]:
    """Quantity to [unit, gauge, instant ms, fact address, statistic, number of readings]."""
    sources: dict[str, list[Any]] = {} if measured is None else msgspec.json.decode(measured.sources)
    return sources


def gauges_of(measured: MeasuredRow | None) -> set[str]:
    """The gauges that the standing readings were taken with."""
    return {source[1] for source in sources_of(measured).values()}


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
    return dt.date.fromisoformat(format_instant(Instant(ms, 0))[:10])


def approved_on(approvals: Iterable[Approval], made: dt.date | None) -> dt.date | None:
    """The last date up to the day of making from which the model was approved, by whatever body; None where it was not."""
    dates = [row.from_on for row in approvals if row.status == "approved" and made and row.from_on <= made.isoformat()]
    return dt.date.fromisoformat(max(dates)) if dates else None
