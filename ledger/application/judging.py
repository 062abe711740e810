"""From view rows to verdicts: what is known of a ball, put before the rulebooks that its plan names."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import msgspec
from msgspec import UNSET, UnsetType

from ledger.application.adopted_files import rulebooks_here
from ledger.application.covered import covered_by
from ledger.application.release_policies import policy_in_force
from ledger.conformity.from_rows import JudgedRows, facts_from_rows
from ledger.conformity.house_from_rows import house_policy
from ledger.conformity.rulebook import RulebookFile
from ledger.conformity.verdict import Outcome, Verdict, house_overall, judge_ball, overall
from ledger.line.fact import parse_address
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy
from ledger.line.rows import Approval, FactRow, Model, Plan, ReleasePolicy
from ledger.line.standing_readings import gauges_of
from ledger.store.reader import Reader
from ledger.store.selections import Selected, rows_with


class JudgedBy(msgspec.Struct, frozen=True, kw_only=True):
    """How a ball came out under one rulebook edition.

    ``house``: by the rule of the house, which the release policy stated at ``policy``; absent where none is in force.
    ``covered``: quantities that this ball was not measured for and an accepted sample or type test covers;
    ``for_release`` and ``house_for_release`` count those as met, and are absent where there are none.
    """

    rulebook: str
    edition: str
    digest: str
    outcome: Outcome
    verdicts: tuple[Verdict, ...]
    house: Outcome | UnsetType = UNSET
    policy: str | UnsetType = UNSET
    covered: tuple[str, ...] = ()
    for_release: Outcome | UnsetType = UNSET
    house_for_release: Outcome | UnsetType = UNSET

    @property
    def released_as(self) -> Outcome:
        """The outcome that a release rests on."""
        return self.outcome if self.for_release is UNSET else self.for_release

    @property
    def house_released_as(self) -> Outcome | UnsetType:
        """The same by the rule of the house."""
        return self.house if self.house_for_release is UNSET else self.house_for_release


class Grounds(NamedTuple):
    """What many balls are judged with: looked up once for a selection."""

    models: dict[str, Model]
    approvals: dict[str, list[Approval]]
    calibrations: dict[str, list[Calibration]]
    released_ms: dict[str, int]
    gauges: dict[str, Gauge]
    studies: dict[str, list[GaugeStudy]]


def grounds_of(reader: Reader, selected: Sequence[Selected]) -> Grounds:
    """Look up models, approvals, gauges with their calibrations and studies, and releases: six queries."""
    models = {one.lot.model for one in selected if one.lot.model is not None}
    gauges = {gauge for one in selected for gauge in gauges_of(one.measured)}
    approvals: dict[str, list[Approval]] = {}
    for approval in rows_with(reader, Approval, "model", models):
        approvals.setdefault(approval.model, []).append(approval)
    calibrations: dict[str, list[Calibration]] = {}
    for calibration in rows_with(reader, Calibration, "gauge", gauges):
        calibrations.setdefault(calibration.gauge, []).append(calibration)
    studies: dict[str, list[GaugeStudy]] = {}
    for study in rows_with(reader, GaugeStudy, "gauge", gauges):
        studies.setdefault(study.gauge, []).append(study)
    releases: list[FactRow] = rows_with(
        reader, FactRow, "address", {one.unit.release for one in selected if one.unit.release is not None}
    )
    return Grounds(
        {model.model: model for model in rows_with(reader, Model, "model", models)},
        approvals,
        calibrations,
        {release.address: release.at_ms for release in releases},
        {gauge.gauge: gauge for gauge in rows_with(reader, Gauge, "gauge", gauges)},
        studies,
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
        grounds.gauges,
        grounds.studies,
    )


def judge_by(edition: RulebookFile, rows: JudgedRows, policy: ReleasePolicy | None) -> JudgedBy:
    """Judge a ball by one rulebook edition, and beside it by the rule of the house where a policy states one."""
    facts = facts_from_rows(rows, edition.rulebook)
    verdicts = tuple(judge_ball(edition.rulebook, facts, house_policy(policy)))
    return JudgedBy(
        rulebook=edition.rulebook.id,
        edition=edition.rulebook.edition,
        digest=edition.digest,
        outcome=overall(verdicts),
        verdicts=verdicts,
        house=UNSET if policy is None else house_overall(verdicts) or "not_applicable",
        policy=UNSET if policy is None else policy.address,
    )


def rulebooks_of(reader: Reader, one: Selected) -> list[RulebookFile]:
    """The editions in force that the plan of a ball's engraving names, as far as they are adopted and known here."""
    names = rulebooks_named(reader, one)
    return rulebooks_here(reader).in_force(names) if names else []


def rulebooks_named(reader: Reader, one: Selected) -> list[str]:
    """The rulebooks that the plan of a ball's engraving names."""
    plan = plan_of(reader, one)
    return [] if plan is None else [name for name in plan.rulebooks.split(",") if name]


def plan_of(reader: Reader, one: Selected) -> Plan | None:
    """The plan in force when a ball was engraved (or turned on)."""
    return plan_among(rows_with(reader, Plan, "model", [one.lot.model or ""]), one)


def plan_among(plans: Iterable[Plan], one: Selected) -> Plan | None:
    """The same among the plans of its model."""
    at_ms = one.unit.engraved_ms or one.unit.began_ms
    standing = [plan for plan in plans if plan.from_ms <= at_ms]
    return max(standing, key=lambda plan: (plan.from_ms, parse_address(plan.plan)), default=None)


def judge_selected(reader: Reader, one: Selected) -> list[JudgedBy]:
    """Judge one ball by every rulebook that its plan names, and by the release policy in force."""
    rows, policy = judged_rows(one, grounds_of(reader, [one])), policy_in_force(reader)
    editions = rulebooks_of(reader, one)
    return [with_cover(reader, one, judge_by(edition, rows, policy), edition) for edition in editions]


def with_cover(reader: Reader, one: Selected, judged: JudgedBy, edition: RulebookFile) -> JudgedBy:
    """The same with what samples and type tests cover: the verdict stays not measured, and says what it is covered by."""
    unread = {verdict.quantity for verdict in judged.verdicts if verdict.outcome == "not_measured"}
    plan = plan_of(reader, one) if unread else None
    if plan is None:
        return judged
    covered, not_by = covered_by(reader, one, plan, unread, edition)
    verdicts, counted = [], []
    for verdict in judged.verdicts:
        said = {**covered, **not_by}.get(verdict.quantity) if verdict.outcome == "not_measured" else None
        if said is not None:
            verdicts.append(msgspec.structs.replace(verdict, reasons=(*verdict.reasons, said)))
        else:
            verdicts.append(verdict)
        if said is None or verdict.quantity not in covered:
            counted.append(verdict)
    if not covered:
        return msgspec.structs.replace(judged, verdicts=tuple(verdicts))
    return msgspec.structs.replace(
        judged,
        verdicts=tuple(verdicts),
        covered=tuple(sorted(covered)),
        for_release=_with_met(overall(counted)),
        house_for_release=UNSET if judged.house is UNSET else _with_met(house_overall(counted) or "not_applicable"),
    )


def _with_met(others: Outcome) -> Outcome:
    """The outcome of what is left beside covered quantities, which count as met: where nothing else applies, they are all."""
    return "conforms" if others == "not_applicable" else others
