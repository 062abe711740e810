"""How the plant stands: counts by state, open holds, open claims, gauges that may not be used now, late facts."""

from __future__ import annotations

import msgspec

from ledger.application.histories import HoldSeen, hold_seen
from ledger.line.claim_rows import Claim
from ledger.line.claims import UNDECIDED
from ledger.line.gauges import standing_at
from ledger.line.plant_rules import newest_rules
from ledger.line.reading_rows import Calibration, Gauge
from ledger.line.rows import BreachRow, FactRow, Hold, Lot, PlantRules, Unit
from ledger.store.reader import Reader
from ledger.store.selections import count_by, every_row
from ledger.store.view_table import MARKED, OPEN


class LimitsSeen(msgspec.Struct, frozen=True, kw_only=True):
    """The plant's limits for the next entry; ``stated`` is the fact that set them, empty for the defaults."""

    late_s: int
    doubtful_s: int
    density_cap: str
    stated: str


class PlantStanding(msgspec.Struct, frozen=True, kw_only=True):
    """The plant at the head of the book.

    ``facts`` counts every fact that was said, corrected and withdrawn ones too; ``late`` and ``doubtful`` count those
    that stand; ``corrected`` those that a correction replaced or withdrew.
    """

    entries: int
    facts: dict[str, int]
    lots: dict[str, int]
    balls: dict[str, int]
    grades: dict[str, int]
    breaches: dict[str, int]
    open_holds: tuple[HoldSeen, ...]
    open_claims: int
    claims: int
    gauges_unfit: tuple[str, ...]
    late: int
    doubtful: int
    corrected: int
    limits: LimitsSeen


def plant_standing(reader: Reader, at_ms: int | None = None) -> PlantStanding:
    """Count. ``at_ms`` (by default the last recorded instant) is when gauges are looked at. One query a figure."""
    transaction = reader.transaction
    head = reader.head()
    holds = every_row(transaction, Hold, OPEN)
    facts: list[FactRow] = every_row(transaction, FactRow, MARKED)
    return PlantStanding(
        entries=head.size,
        facts=count_by(transaction, FactRow, "kind"),
        lots=count_by(transaction, Lot, "stage"),
        balls=count_by(transaction, Unit, "state"),
        grades={grade: count for grade, count in count_by(transaction, Unit, "grade").items() if grade != "None"},
        breaches=count_by(transaction, BreachRow, "code"),
        open_holds=tuple(hold_seen(hold) for hold in sorted(holds, key=lambda hold: (hold.opened_ms, hold.hold))),
        open_claims=sum(count for state, count in count_by(transaction, Claim, "state").items() if state in _OPEN),
        claims=sum(count_by(transaction, Claim, "state").values()),
        gauges_unfit=_unfit(reader, head.recorded_ms if at_ms is None else at_ms),
        late=sum(fact.late and fact.standing for fact in facts),
        doubtful=sum(fact.doubtful and fact.standing for fact in facts),
        corrected=sum(bool(fact.body) for fact in facts),
        limits=_limits(reader),
    )


_OPEN = UNDECIDED


def _limits(reader: Reader) -> LimitsSeen:
    rules = newest_rules(every_row(reader.transaction, PlantRules))
    return LimitsSeen(
        late_s=rules.late_ms // 1000,
        doubtful_s=rules.doubtful_ms // 1000,
        density_cap=rules.density_cap,
        stated=rules.address,
    )


def _unfit(reader: Reader, at_ms: int) -> tuple[str, ...]:
    rows: dict[str, list[Calibration]] = {gauge.gauge: [] for gauge in every_row(reader.transaction, Gauge)}
    for calibration in every_row(reader.transaction, Calibration):
        rows.setdefault(calibration.gauge, []).append(calibration)
    return tuple(gauge for gauge, found in sorted(rows.items()) if not standing_at(found, at_ms).usable)
