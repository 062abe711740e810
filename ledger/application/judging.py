"""From view rows to verdicts: what is known of a ball, put before the rulebooks that its plan names."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import msgspec

from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.rulebook import Rulebook, ShippedRulebook, shipped_rulebooks
from ledger.conformity.verdict import Outcome, Verdict, judge_ball, overall
from ledger.errors import NotFound
from ledger.line.fact import parse_address
from ledger.line.gauges import standing_at
from ledger.line.rows import Approval, Calibration, Model, Plan, RulebookRow
from ledger.line.rows import Measured as MeasuredRow
from ledger.store.reader import Reader
from ledger.store.selections import Selected, rows_with


class JudgedBy(msgspec.Struct, frozen=True, kw_only=True):
    """How a ball came out under one rulebook edition."""

    rulebook: str
    edition: str
    digest: str
    outcome: Outcome
    verdicts: tuple[Verdict, ...]


class Grounds(NamedTuple):
    """What many balls are judged with: looked up once for a selection."""

    models: dict[str, Model]
    approvals: dict[str, list[Approval]]
    calibrations: dict[str, list[Calibration]]


def day_of(ms: int) -> dt.date:
    """The UTC date of an instant."""
    return dt.datetime.fromtimestamp(ms / 1000, tz=dt.UTC).date()


def find_rulebook(name: str) -> ShippedRulebook:
    """The shipped rulebook of this id. Raises NotFound."""
    found = shipped_rulebooks().get(name)
    if found is None:
        raise NotFound(
            f"no rulebook {name}",
            expected="one of " + ", ".join(shipped_rulebooks()),
            where="rulebook",
            mend="use one of the ids listed",
        )
    return found


def grounds_of(reader: Reader, selected: Sequence[Selected]) -> Grounds:
    """Look up models, approvals and calibrations for a selection: three queries."""
    models = {one.lot.model for one in selected if one.lot.model is not None}
    gauges = {gauge for one in selected for gauge in _gauges(one.measured)}
    approvals: dict[str, list[Approval]] = {}
    for approval in rows_with(reader, Approval, "model", models):
        approvals.setdefault(approval.model, []).append(approval)
    calibrations: dict[str, list[Calibration]] = {}
    for calibration in rows_with(reader, Calibration, "gauge", gauges):
        calibrations.setdefault(calibration.gauge, []).append(calibration)
    return Grounds({model.model: model for model in rows_with(reader, Model, "model", models)}, approvals, calibrations)


def _gauges(measured: MeasuredRow | None) -> set[str]:
    return set() if measured is None else {source[1] for source in _sources(measured).values()}


def _sources(measured: MeasuredRow) -> dict[str, list[str]]:
    sources: dict[str, list[str]] = msgspec.json.decode(measured.sources)
    return sources


def readings_of(measured: MeasuredRow | None, calibrations: dict[str, list[Calibration]]) -> dict[str, Measured]:
    """The readings that stand, each with whether its gauge lets it be used. U (k = 2) is halved to u."""
    if measured is None:
        return {}
    readings = {}
    for quantity, (unit, gauge, at_ms, fact, *_) in _sources(measured).items():
        standing = standing_at(calibrations.get(gauge, []), int(at_ms))
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


def facts_of(one: Selected, grounds: Grounds) -> BallFacts:
    """What is known of a ball when it is judged. Made on the UTC day of its engraving (or of turning on, before)."""
    model = grounds.models.get(one.lot.model or "")
    made_on = day_of(one.unit.engraved_ms or one.unit.began_ms)
    return BallFacts(
        core="asymmetric" if model is not None and model.core == "asymmetric" else "symmetric",
        weight_class=one.unit.weight_class or one.lot.weight_class,
        made_on=made_on,
        approved_on=_approved_on(grounds.approvals.get(one.lot.model or "", []), made_on),
        readings=readings_of(one.measured, grounds.calibrations),
        ball=one.unit.serial or one.unit.unit,
    )


def _approved_on(approvals: Iterable[Approval], made_on: dt.date) -> dt.date | None:
    days = [row.from_on for row in approvals if row.status == "approved" and row.from_on <= made_on.isoformat()]
    return dt.date.fromisoformat(max(days)) if days else None


def judge_by(rulebook: Rulebook, digest: str, facts: BallFacts) -> JudgedBy:
    """Judge a ball by one rulebook edition."""
    verdicts = tuple(judge_ball(rulebook, facts))
    return JudgedBy(
        rulebook=rulebook.id, edition=rulebook.edition, digest=digest, outcome=overall(verdicts), verdicts=verdicts
    )


def rulebooks_of(reader: Reader, one: Selected) -> list[ShippedRulebook]:
    """The editions in force that the plan of a ball's engraving names, as far as they are adopted and known here."""
    plan = plan_of(reader, one)
    names = [] if plan is None else [name for name in plan.rulebooks.split(",") if name]
    adopted = {row.digest for row in rows_with(reader, RulebookRow, "rulebook", names) if not row.superseded}
    shipped = [shipped_rulebooks()[name] for name in names if name in shipped_rulebooks()]
    return [edition for edition in shipped if edition.digest in adopted]


def plan_of(reader: Reader, one: Selected) -> Plan | None:
    """The plan in force when a ball was engraved (or turned on)."""
    at_ms = one.unit.engraved_ms or one.unit.began_ms
    plans = [plan for plan in rows_with(reader, Plan, "model", [one.lot.model or ""]) if plan.from_ms <= at_ms]
    return max(plans, key=lambda plan: (plan.from_ms, parse_address(plan.plan)), default=None)


def judge_selected(reader: Reader, one: Selected) -> list[JudgedBy]:
    """Judge one ball by every rulebook that its plan names."""
    facts = facts_of(one, grounds_of(reader, [one]))
    return [judge_by(edition.rulebook, edition.digest, facts) for edition in rulebooks_of(reader, one)]
