"""From view rows to verdicts: what is known of a ball, put before the rulebooks that its plan names."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import msgspec

from ledger.conformity.from_rows import JudgedRows, facts_from_rows, gauges_of
from ledger.conformity.rulebook import ShippedRulebook, shipped_rulebooks
from ledger.conformity.verdict import Outcome, Verdict, judge_ball, overall
from ledger.errors import NotFound
from ledger.line.fact import parse_address
from ledger.line.rows import Approval, Calibration, FactRow, Model, Plan, RulebookRow
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
    released_ms: dict[str, int]


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
    """Look up models, approvals, calibrations and releases for a selection: four queries."""
    models = {one.lot.model for one in selected if one.lot.model is not None}
    gauges = {gauge for one in selected for gauge in gauges_of(one.measured)}
    approvals: dict[str, list[Approval]] = {}
    for approval in rows_with(reader, Approval, "model", models):
        approvals.setdefault(approval.model, []).append(approval)
    calibrations: dict[str, list[Calibration]] = {}
    for calibration in rows_with(reader, Calibration, "gauge", gauges):
        calibrations.setdefault(calibration.gauge, []).append(calibration)
    releases: list[FactRow] = rows_with(
        reader, FactRow, "address", {one.unit.release for one in selected if one.unit.release is not None}
    )
    return Grounds(
        {model.model: model for model in rows_with(reader, Model, "model", models)},
        approvals,
        calibrations,
        {release.address: release.at_ms for release in releases},
    )


def judged_rows(one: Selected, grounds: Grounds) -> JudgedRows:
    """The rows that the verdicts on a ball rest on."""
    model = one.lot.model or ""
    return JudgedRows(
        one.unit,
        one.lot,
        grounds.models.get(model),
        one.measured,
        grounds.approvals.get(model, ()),
        grounds.calibrations,
        grounds.released_ms.get(one.unit.release or ""),
    )


def judge_by(edition: ShippedRulebook, rows: JudgedRows) -> JudgedBy:
    """Judge a ball by one rulebook edition."""
    verdicts = tuple(judge_ball(edition.rulebook, facts_from_rows(rows, edition.rulebook)))
    return JudgedBy(
        rulebook=edition.rulebook.id,
        edition=edition.rulebook.edition,
        digest=edition.digest,
        outcome=overall(verdicts),
        verdicts=verdicts,
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
    rows = judged_rows(one, grounds_of(reader, [one]))
    return [judge_by(edition, rows) for edition in rulebooks_of(reader, one)]
