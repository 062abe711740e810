"""Release of balls, and what ends one: rework, regrade, scrap.

A release rests on digests: of the readings that stood, of the plan in force, of each rulebook edition that judged.
The verdicts were computed before it was said; here it is checked that what they rest on is current at the head.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, Literal

from msgspec import UNSET, Meta, UnsetType

from ledger.book.instant import Instant, format_instant
from ledger.errors import Contradiction, RuleStands
from ledger.line.balls import enter_finish, known_unit, unit_needs
from ledger.line.fact import Breach, Fact, parse_address
from ledger.line.gauges import standing_at
from ledger.line.import_rows import IMPORTED
from ledger.line.inspections import readings_digest
from ledger.line.kind import Kind, Setting
from ledger.line.lineage import refuse_under_hold, stopping_holds
from ledger.line.process_plan import INSPECTS, Inspect, plan_at, plan_needs
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy, Measured
from ledger.line.record import Address, Digest, Id, Part, Record, Slug
from ledger.line.release_cover import Bearer, changed_since, check_covered, judged_ms_of
from ledger.line.release_policy import POLICY_NEED, check_policy_named, policy_at, rests_on_undecided
from ledger.line.rows import Approval, Lot, Model, ModelJudged, Plan, ReleasePolicy, RulebookRow, Unit
from ledger.line.sample_cover import cover_needs
from ledger.line.samples import check_type_test, sample_accepted
from ledger.line.standing_readings import gauges_of, manner_of, sources_of
from ledger.line.state import Need, State
from ledger.line.voided_readings import VOIDED, void_readings

Grade = Literal["first", "second", "house", "prototype", "demo"]
Outcome = Literal["conforms", "does_not_conform", "undecided", "not_measured", "barred", "not_applicable"]

LEFT_AS = {"polish": "polished", "resurface": "unstated", "re-turn": "unstated", "re-pour": "unstated"}
"""How an operation leaves the surface: ``unstated`` where its name does not say."""


class Basis(Part, frozen=True, kw_only=True):
    """What a verdict rested on: a rulebook edition by digest, and how it came out.

    ``house``: how it came out by the rule of the house, where a release policy is in force.  ``covered``: quantities that
    the rulebook limits and this ball was not measured for, counted as covered by an accepted sample of its lot or type
    test of its model, as the plan has them inspected.
    """

    rulebook: Slug
    digest: Digest
    outcome: Outcome
    house: Outcome | UnsetType = UNSET
    covered: Annotated[tuple[Slug, ...], Meta(max_length=40)] = ()


class Release(Record, frozen=True, kw_only=True, tag="release"):
    """A ball is released at a grade. ``plan`` is the address of the plan in force when it was engraved.

    ``policy``: the address of the release policy in force, where one is.  ``undecided``: first quality though a verdict is
    undecided; only an account with a role that the policy names for it may say so.
    """

    unit: Id
    grade: Grade
    readings: Digest
    plan: Address
    bases: Annotated[tuple[Basis, ...], Meta(max_length=10)]
    policy: Address | UnsetType = UNSET
    undecided: bool = False


class Rework(Record, frozen=True, kw_only=True, tag="rework"):
    """A ball is worked again. It ends the release and voids the readings that the operation can change."""

    unit: Id
    operation: Literal["resurface", "polish", "re-turn", "plug", "re-pour"]
    station: Id


class Regrade(Record, frozen=True, kw_only=True, tag="regrade"):
    """A released ball takes a lower grade."""

    unit: Id
    grade: Literal["second", "house", "demo"]
    reason: Slug


class Scrap(Record, frozen=True, kw_only=True, tag="scrap"):
    """A ball ends: scrapped, tested to destruction, or retained."""

    unit: Id
    how: Literal["scrap", "destructive-test", "retained"]
    reason: Slug


def _release_needs(record: Release, state: State) -> Iterator[Need]:
    yield from unit_needs(record.unit, state)
    measured = Need(Measured, "unit", record.unit)
    yield measured
    yield Need(Plan, "plan", record.plan)
    yield POLICY_NEED
    for basis in record.bases:
        yield Need(RulebookRow, "rulebook", basis.rulebook)
    if state.has(measured):
        for gauge in sorted(gauges_of(state.one(Measured, record.unit))):
            yield Need(Gauge, "gauge", gauge)
            yield Need(Calibration, "gauge", gauge)
            yield Need(GaugeStudy, "gauge", gauge)
    unit = state.one(Unit, record.unit) if state.has(Need(Unit, "unit", record.unit)) else None
    if unit is not None and state.has(Need(Lot, "lot", unit.lot)):
        yield from cover_needs(unit.lot, state)
        lot = state.one(Lot, unit.lot)
        if lot is not None and lot.model is not None:
            yield from plan_needs(lot.model)
            yield Need(Model, "model", lot.model)
            yield Need(Approval, "model", lot.model)
            yield Need(ModelJudged, "model", lot.model)


def _release_check(record: Release, state: State, setting: Setting) -> list[Breach]:
    unit = known_unit(state, record.unit)
    if unit.state not in {"engraved", "reworked", "returned"}:
        raise RuleStands(
            f"unit {record.unit} cannot be released",
            expected="engraved, reworked or returned",
            got=unit.state,
            where="unit",
            mend=_UNRELEASED.get(unit.state, "a ball in that state is not released"),
        )
    refuse_under_hold(
        stopping_holds(state, "release", lot=unit.lot, unit=unit), what=f"release of {record.unit}", where="unit"
    )
    measured = state.one(Measured, record.unit)
    if record.readings != readings_digest(measured):
        raise RuleStands(
            "the readings changed since the verdicts were made",
            expected=readings_digest(measured),
            got=record.readings,
            where="readings",
            mend="judge the ball again and release it on the new verdicts",
        )
    lot = state.one(Lot, unit.lot)
    plan = _check_plan(record, unit, lot, state)
    _check_bases(record, plan, state)
    _check_policy(record, policy_at(setting.index, state))
    ball = Bearer(unit, lot, measured, plan)
    if record.grade not in {"prototype", "demo"}:
        _check_inspected(ball, state)
    for place, basis in enumerate(record.bases):
        check_covered(basis.covered, ball, state, where=f"bases[{place}].covered")
    if record.grade != "prototype":
        _check_approved(unit, lot, plan, state)
    return []


_UNRELEASED = {
    "made": "engrave it first",
    IMPORTED: "it was made before this book, and nothing of it was measured: take it back (returned), then measure it",
}
"""What would let a ball in a state be released."""


def _check_plan(record: Release, unit: Unit, lot: Lot | None, state: State) -> Plan:
    model = None if lot is None else lot.model
    plan = plan_at(state, model, unit.engraved_ms or unit.began_ms)
    if plan is None:
        raise RuleStands(f"model {model} has no plan", where="plan", mend="set the model's plan (plan-set) first")
    if plan.plan != record.plan:
        raise RuleStands(
            "the release rests on another plan",
            expected=plan.plan,
            got=record.plan,
            where="plan",
            mend="judge the ball by the plan in force when it was engraved",
        )
    return plan


def _check_bases(record: Release, plan: Plan, state: State) -> None:
    wanted = {name for name in plan.rulebooks.split(",") if name}
    stated = {basis.rulebook for basis in record.bases}
    if wanted != stated:
        raise RuleStands(
            "the release rests on other rulebooks than the plan names",
            expected=", ".join(sorted(wanted)) or "none",
            got=", ".join(sorted(stated)) or "none",
            where="bases",
            mend="judge the ball by each rulebook of the plan",
        )
    for place, basis in enumerate(record.bases):
        current = [row for row in state.where(RulebookRow, "rulebook", basis.rulebook) if not row.superseded]
        if [row.digest for row in current] != [basis.digest]:
            raise RuleStands(
                f"rulebook {basis.rulebook} is not the edition in force",
                expected=current[0].digest if current else "an adopted edition",
                got=basis.digest,
                where=f"bases[{place}].digest",
                mend="adopt the edition (rulebook-adopted), and judge the ball by it",
            )


def _check_policy(record: Release, policy: ReleasePolicy | None) -> None:
    check_policy_named(None if record.policy is UNSET else record.policy, policy)
    undecided = False
    for place, basis in enumerate(record.bases):
        if (basis.house is UNSET) != (policy is None):
            raise RuleStands(
                "a release says how the ball comes out by the rule of the house where there is one, and only there",
                expected="none: no release policy is in force" if policy is None else "an outcome",
                got="nothing" if basis.house is UNSET else basis.house,
                where=f"bases[{place}].house",
                mend="judge the ball by the policy in force (GET /release-policy), and release it on that",
            )
        if record.grade == "first":
            house = None if basis.house is UNSET else basis.house
            where = f"bases[{place}]"
            undecided |= rests_on_undecided(basis.outcome, house, policy, undecided=record.undecided, where=where)
    if record.undecided != undecided:
        raise RuleStands(
            "the release says that it rests on an undecided verdict, and it does not",
            expected="undecided left out",
            got="undecided: true",
            where="undecided",
            mend="leave it out; it is said of first quality alone, where a verdict that counts is undecided",
        )


def _check_inspected(ball: Bearer, state: State) -> None:
    if ball.lot is None:
        return
    for item in INSPECTS.decode(ball.plan.inspect):
        # A rejected lot may be screened ball by ball, and a reworked ball no longer stands for its lot, nor its model.
        changed = changed_since(item.quantity, ball.unit, ball.measured, judged_ms_of(item, ball, state))
        alone = item.every == "unit" or bool(changed)
        if item.every == "model":
            check_type_test(item.quantity, ball.lot, ball.plan, state)
        elif item.every == "sample":
            alone = not sample_accepted(ball.lot.lot, item, state) or alone
        if alone:
            _check_read(item, ball.measured, state)


def _check_read(item: Inspect, measured: Measured | None, state: State) -> None:
    source, how = sources_of(measured).get(item.quantity), manner_of(measured).get(item.quantity)
    if source is None or how is None:
        raise RuleStands(
            f"{item.quantity} is not measured",
            expected="a reading of this ball, by the inspection plan",
            where="readings",
            mend=f"measure {item.quantity}, then judge and release",
        )
    standing = standing_at(state.where(Calibration, "gauge", how.gauge), source.at_ms)
    if not standing.usable:
        raise RuleStands(
            f"the reading of {item.quantity} is not usable: {standing.why}",
            where="readings",
            mend="read it again with a gauge in calibration, or have the gauge calibrated and found good",
        )


def _check_approved(unit: Unit, lot: Lot | None, plan: Plan, state: State) -> None:
    if not plan.rulebooks or lot is None or lot.model is None:
        return
    on = unit_day(unit)
    rows = [row for row in state.where(Approval, "model", lot.model) if row.from_on <= on]
    rows.sort(key=lambda row: (row.from_on, parse_address(row.approval)))
    latest = {row.body: row for row in rows}
    wrong = [_approval_problem(row, unit, lot, on) for row in latest.values()]
    if all(wrong):
        raise RuleStands(
            f"model {lot.model} is not approved for unit {unit.unit}",
            expected="an approval in force (approval-entered)",
            got="; ".join(wrong) or f"no answer of a body by {on}",
            where="grade",
            mend="release it as prototype, or enter the body's answer first",
        )


def _approval_problem(row: Approval, unit: Unit, lot: Lot, on: str) -> str:
    """Why a body's latest answer does not cover a ball; empty where it does."""
    serial = unit.serial or ""
    if row.status != "approved":
        return f"{row.body}: {row.status} from {row.from_on}"
    if row.to_on is not None and on > row.to_on:
        return f"{row.body}: approved until {row.to_on}"
    if lot.revision is not None and lot.revision != row.revision:
        return f"{row.body}: revision {row.revision} is approved, this is {lot.revision}"
    if str(unit.weight_class) not in row.classes.split(","):
        return f"{row.body}: classes {row.classes} lb are approved, this is {unit.weight_class}"
    if (row.first_serial or serial) > serial or serial > (row.last_serial or serial):
        return f"{row.body}: approved for serials {row.first_serial or ''}..{row.last_serial or ''}"
    return ""


def unit_day(unit: Unit) -> str:
    """The UTC date (ISO text) on which a unit was engraved, or begun where it was not."""
    return format_instant(Instant(unit.engraved_ms or unit.began_ms, 0))[:10]


def _release_effects(fact: Fact, state: State) -> None:
    record: Release = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.alter(Unit, record.unit, state="released", grade=record.grade, release=fact.address)


def _rework_check(record: Rework, state: State, _setting: Setting) -> list[Breach]:
    unit = known_unit(state, record.unit)
    if unit.state in {"shipped", "scrapped", "retained", "destroyed"}:
        said = f"{record.unit} was reworked ({record.operation}) while it was {unit.state}"
        return [Breach(code="rework-of-gone", node=f"unit:{record.unit}", said=said, mend="correct the unit id")]
    return []


def _rework_effects(fact: Fact, state: State) -> None:
    record: Rework = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.alter(Unit, record.unit, state="reworked", grade=None, release=None, rework=fact.address)
    void_readings(state, record.unit, VOIDED[record.operation], fact.at_ms)
    if record.operation in LEFT_AS:
        enter_finish(state, record.unit, LEFT_AS[record.operation], fact.at_ms)


def _regrade_check(record: Regrade, state: State, _setting: Setting) -> list[Breach]:
    unit = known_unit(state, record.unit)
    order = ["first", "second", "house", "demo"]
    if unit.state != "released" or unit.grade not in order or order.index(unit.grade) >= order.index(record.grade):
        raise RuleStands(
            "a regrade lowers the grade of a released ball",
            expected="released at a higher grade",
            got=f"{unit.state}, {unit.grade or 'no grade'}",
            where="grade",
            mend="release the ball first; a higher grade takes a new release",
        )
    return []


def _regrade_effects(fact: Fact, state: State) -> None:
    record: Regrade = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.alter(Unit, record.unit, grade=record.grade)


def _scrap_check(record: Scrap, state: State, _setting: Setting) -> list[Breach]:
    unit = known_unit(state, record.unit)
    if unit.state in {"scrapped", "destroyed"}:
        raise Contradiction(f"unit {record.unit} is {unit.state} already", where="unit", mend="correct the unit id")
    return []


def _scrap_effects(fact: Fact, state: State) -> None:
    record: Scrap = fact.record  # type: ignore[assignment]  # the kind table pairs them
    ends = {"scrap": "scrapped", "destructive-test": "destroyed", "retained": "retained"}
    state.alter(Unit, record.unit, state=ends[record.how], grade=None, release=None)


def _needs(record: Rework | Regrade | Scrap, state: State) -> Iterator[Need]:
    yield from unit_needs(record.unit, state)
    yield Need(Measured, "unit", record.unit)


def _about(record: Release | Rework | Regrade | Scrap) -> Iterable[str]:
    return [f"unit:{record.unit}"]


KINDS = (
    Kind(Release, "decision", _release_needs, _release_check, _release_effects, _about),
    Kind(Rework, "report", _needs, _rework_check, _rework_effects, _about),
    Kind(Regrade, "decision", _needs, _regrade_check, _regrade_effects, _about),
    Kind(Scrap, "report", _needs, _scrap_check, _scrap_effects, _about),
)
