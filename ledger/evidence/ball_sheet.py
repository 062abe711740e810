"""The sheet of one ball in a dossier, made from its rows: facts, lots, readings and verdicts.

Pure. The service makes a sheet from its views; the verifier makes it again from the entries in the dossier, by the same
function, and compares. So a sheet says nothing that its entries do not.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Literal, NamedTuple

from msgspec import UNSET, UnsetType

from ledger.conformity.facts import Measured as Judged
from ledger.conformity.from_rows import JudgedRows, facts_from_rows, readings_from_row
from ledger.conformity.house_from_rows import house_policy
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.verdict import Verdict, house_overall, judge_ball, overall
from ledger.evidence.dossier_format import (
    BallSheet,
    FactLine,
    HouseLine,
    LotLine,
    ReadingLine,
    VerdictLine,
    VerdictTable,
)
from ledger.line.gauges import calibration_at
from ledger.line.process_plan import plan_among
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy, Measured
from ledger.line.rows import Approval, Lot, Model, Plan, ReleasePolicy, SerialRow, Unit
from ledger.line.standing_readings import sources_of
from ledger.tracing.back import Trace

Core = Literal["symmetric", "asymmetric"]


class BallRows(NamedTuple):
    """What the book holds of one ball.

    ``facts``: the standing facts about the unit, in address order. ``lots``: every lot of ``trace`` and the ball's own,
    by id. ``calibrations``, ``gauges``, ``studies``: those of each gauge that ``measured`` names, by its id.
    ``plans``: those of the model.
    ``released_ms``: instant of the release that stands, if one does. ``policy``: the newest release policy of the plant.
    """

    unit: Unit
    serials: Sequence[SerialRow]
    measured: Measured | None
    facts: Sequence[FactLine]
    trace: Trace
    lots: Mapping[str, Lot]
    model: Model
    approvals: Sequence[Approval]
    calibrations: Mapping[str, Sequence[Calibration]]
    released_ms: int | None = None
    gauges: Mapping[str, Gauge] = {}
    studies: Mapping[str, Sequence[GaugeStudy]] = {}
    policy: ReleasePolicy | None = None
    plans: Sequence[Plan] = ()

    def judged(self) -> JudgedRows:
        """The rows that its verdicts rest on."""
        return JudgedRows(
            self.unit,
            self.lots[self.unit.lot],
            self.model,
            self.measured,
            self.approvals,
            self.calibrations,
            self.released_ms,
            self.gauges,
            self.studies,
        )


class DatedRulebook(NamedTuple):
    """A rulebook and the SHA-256 of its file, 64 lower hex digits."""

    digest: str
    rulebook: Rulebook


def ball_sheet(rows: BallRows, rulebooks: Iterable[DatedRulebook]) -> BallSheet:
    """The sheet of a ball, judged by each rulebook in the order given. Raises KeyError for a lot without its row."""
    return BallSheet(
        **outline(rows),
        lots=lot_lines(rows),
        readings=reading_lines(rows),
        tables=tuple(verdict_table(rows, dated) for dated in rulebooks),
    )


def outline(rows: BallRows) -> dict[str, Any]:
    """The fields of a sheet but for its lots, readings and verdicts."""
    unit, lot = rows.unit, rows.lots[rows.unit.lot]
    serials = sorted(rows.serials, key=lambda row: (row.since_ms, row.serial_row))
    plan = plan_among(rows.plans, lot.began_ms)
    return {
        "unit": unit.unit,
        "serial": _or_unset(unit.serial),
        "former_serials": tuple(row.serial for row in serials if row.until_ms is not None),
        "model": rows.model.model,
        "model_name": rows.model.name,
        "revision": _or_unset(lot.revision),
        "core": _core(rows.model),
        "weight_class": _or_unset(unit.weight_class),
        "lot": unit.lot,
        "place": _or_unset(unit.place),
        "state": unit.state,
        "grade": _or_unset(unit.grade),
        "facts": tuple(rows.facts),
        "plan": UNSET if plan is None else plan.plan,
        "policy": UNSET if rows.policy is None else rows.policy.address,
    }


def reading_lines(rows: BallRows) -> tuple[ReadingLine, ...]:
    """The readings that stand, by quantity: uncertainty, conditions, and whether each may be used by its gauge."""
    readings = readings_from_row(rows.measured, rows.calibrations, rows.gauges, rows.studies)
    sources = {} if rows.measured is None else sources_of(rows.measured)
    return tuple(
        reading_line(rows, quantity, reading, sources[quantity].at_ms) for quantity, reading in sorted(readings.items())
    )


def reading_line(rows: BallRows, quantity: str, reading: Judged, at_ms: int) -> ReadingLine:
    """The line of one reading, which was taken at that instant (POSIX milliseconds)."""
    calibration = calibration_at(rows.calibrations.get(reading.gauge, ()), at_ms)
    return ReadingLine(
        quantity=quantity,
        unit=reading.unit,
        value=reading.value_scaled,
        expanded=_or_unset(getattr(rows.measured, f"{quantity}_u")),
        standard_uncertainty=_or_unset(reading.u_scaled),
        uncertainty_from=reading.u_from or UNSET,
        statistic=reading.statistic,
        values=reading.readings,
        definition=reading.definition or UNSET,
        temperature_c=_or_unset(reading.temperature_c),
        delay_s=_or_unset(reading.delay_s),
        spacing_mm=_or_unset(reading.spacing_mm),
        surface=reading.surface or UNSET,
        gauge=reading.gauge,
        calibration=UNSET if calibration is None else calibration.calibration,
        fact=reading.fact,
        usable=reading.usable,
        why=reading.why_unusable or UNSET,
    )


def verdict_table(rows: BallRows, dated: DatedRulebook) -> VerdictTable:
    """The verdicts on a ball by one rulebook, and beside them by the rule of the house where a policy states one."""
    facts = facts_from_rows(rows.judged(), dated.rulebook)
    verdicts = judge_ball(dated.rulebook, facts, house_policy(rows.policy))
    return VerdictTable(
        rulebook=dated.digest,
        id=dated.rulebook.id,
        made_on=UNSET if facts.made_on is None else facts.made_on.isoformat(),
        approved_on=UNSET if facts.approved_on is None else facts.approved_on.isoformat(),
        overall=overall(verdicts),
        house=_or_unset(house_overall(verdicts)),
        verdicts=tuple(verdict_line(verdict) for verdict in verdicts),
    )


def verdict_line(verdict: Verdict) -> VerdictLine:
    """The line of one verdict."""
    return VerdictLine(
        requirement=verdict.requirement,
        outcome=verdict.outcome,
        limit=verdict.limit,
        unit=verdict.unit,
        decision=verdict.decision,
        provenance=verdict.provenance,
        value=_or_unset(verdict.value),
        margin=_or_unset(verdict.margin),
        fact=_or_unset(verdict.fact or None),
        house=_house_line(verdict),
        reasons=verdict.reasons,
    )


def _house_line(verdict: Verdict) -> HouseLine | UnsetType:
    house = verdict.house
    if house is UNSET:
        return UNSET
    return HouseLine(
        outcome=house.outcome,
        decision=house.decision,
        guard_band=_or_unset(house.guard_band),
        acceptance=_or_unset(house.acceptance or None),
        sentence=house.sentence,
    )


def lot_lines(rows: BallRows) -> tuple[LotLine, ...]:
    """The lots that the ball descends from, its own first. Raises KeyError for one without its row."""
    lot = rows.lots[rows.unit.lot]
    own = LotLine(lot=lot.lot, stage=lot.stage, certainty="certain", level=0)
    above = [
        LotLine(lot=one.lot, stage=rows.lots[one.lot].stage, certainty=one.certainty, level=one.level)
        for one in rows.trace.ancestors
    ]
    return (own, *above)


def _core(model: Model) -> Core:
    return "asymmetric" if model.core == "asymmetric" else "symmetric"


def _or_unset(value: Any) -> Any:
    """Absent is left out, never null."""
    return UNSET if value is None else value
