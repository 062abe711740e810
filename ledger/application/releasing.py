"""Releasing balls: judge first, then say the release with the digests that the verdicts rest on."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

from msgspec import UNSET

from ledger.application.adopted_files import rulebooks_here
from ledger.application.judging import JudgedBy, judge_selected, plan_of
from ledger.application.release_policies import policy_in_force
from ledger.application.said_before import said_before
from ledger.application.said_releases import check_role_for_undecided
from ledger.book.instant import Instant, format_instant
from ledger.conformity.verdict import Verdict
from ledger.errors import RuleStands, UnknownSubject
from ledger.line.inspections import readings_digest
from ledger.line.record import Record
from ledger.line.release_policy import roles_for_undecided
from ledger.line.releases import Basis, Grade, Release
from ledger.line.rows import Plan, ReleasePolicy
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import Selected, Selection, select_balls

_MENDS = {
    "not_measured": "measure it, then release the ball",
    "undecided": "measure it again with a smaller uncertainty, or release the ball at another grade",
    "does_not_conform": "rework the ball, or release it at another grade; no concession changes a limit",
}
_COUNTS_FOR = frozenset({"conforms", "barred", "not_applicable"})


class Wanted(NamedTuple):
    """What is to be released, and as what. ``undecided``: as first quality even where a verdict is undecided."""

    units: Sequence[str]
    grade: Grade
    undecided: bool = False


class _Obstacle(NamedTuple):
    """A verdict that is not good enough for first quality, its outcome, and by whose rule where it is not the body's."""

    rulebook: str
    verdict: Verdict
    outcome: str
    by: str


def release_records(store: Store, wanted: Wanted, at_ms: int, roles: Collection[str]) -> tuple[Record, ...]:
    """The release of each ball, with its verdicts as they stand now, by an account that has ``roles``.

    Raises UnknownSubject, RuleStands, and Forbidden where an undecided ball may not go out by that account.
    """
    with open_reader(store) as reader:
        return tuple(_release(reader, wanted, place, at_ms, roles) for place in range(len(wanted.units)))


def released_before(store: Store, wanted: Wanted, *, key: str, author: str) -> tuple[Record, ...] | None:
    """The releases that stand under a key already; None for a key not used yet. Raises KeyReused for others than these."""

    def are_these(records: tuple[Record, ...]) -> bool:
        releases = [record for record in records if isinstance(record, Release)]
        said = [(record.unit, record.grade) for record in releases]
        as_undecided = any(record.undecided for record in releases)
        return said == [(unit, wanted.grade) for unit in wanted.units] and (wanted.undecided or not as_undecided)

    with open_reader(store) as reader:
        return said_before(reader, author, key, are_these)


def _release(reader: Reader, wanted: Wanted, place: int, at_ms: int, roles: Collection[str]) -> Release:
    unit = wanted.units[place]
    found = select_balls(reader.transaction, Selection(unit=unit))
    if not found:
        raise UnknownSubject(f"unit {unit} is not in the book", where=f"units[{place}]", mend="correct the unit id")
    one = found[0]
    plan = plan_of(reader, one)
    if plan is None:
        raise RuleStands(
            f"model {one.lot.model} had no plan when {unit} was engraved",
            where=f"units[{place}]",
            mend="set the model's plan (plan-set) first",
        )
    judged, policy = judge_selected(reader, one), policy_in_force(reader)
    _refuse_unjudged(reader, plan, judged, place)
    obstacles = _obstacles(judged, policy) if wanted.grade == "first" else []
    _check_undecided(one, obstacles, policy, said=wanted.undecided, where=f"units[{place}]")
    if obstacles:
        check_role_for_undecided(roles, policy, where=f"units[{place}]")
    return Release(
        at=format_instant(Instant(at_ms, 0)),
        unit=unit,
        grade=wanted.grade,
        readings=readings_digest(one.measured),
        plan=plan.plan,
        bases=tuple(_basis(by) for by in judged),
        policy=UNSET if policy is None else policy.address,
        undecided=bool(obstacles),
    )


def _basis(by: JudgedBy) -> Basis:
    outcome, house = by.released_as, by.house_released_as
    return Basis(rulebook=by.rulebook, digest=by.digest, outcome=outcome, house=house, covered=by.covered)


def _refuse_unjudged(reader: Reader, plan: Plan, judged: Sequence[JudgedBy], place: int) -> None:
    by = {one.rulebook for one in judged}
    missing = [name for name in plan.rulebooks.split(",") if name and name not in by]
    if missing:
        raise RuleStands(
            f"the plan names rulebook {missing[0]}, and no edition of it that is here is adopted",
            expected="one of " + ", ".join(edition.rulebook.id for edition in rulebooks_here(reader).editions),
            where=f"units[{place}]",
            mend="adopt the edition (rulebook-adopted, or POST /rulebooks), or set a plan that names another rulebook",
        )


def _obstacles(judged: Sequence[JudgedBy], policy: ReleasePolicy | None) -> list[_Obstacle]:
    """What keeps a ball from being first quality outright: each limit that it is not shown to meet, where that counts."""
    needed = policy is not None and policy.house == "needed"
    found = []
    for by in judged:
        for verdict in by.verdicts:
            if verdict.outcome == "not_measured" and verdict.quantity in by.covered:
                continue
            if verdict.outcome not in _COUNTS_FOR:
                found.append(_Obstacle(by.rulebook, verdict, verdict.outcome, ""))
            elif needed and verdict.house is not UNSET and verdict.house.outcome not in _COUNTS_FOR:
                found.append(_Obstacle(by.rulebook, verdict, verdict.house.outcome, " by the rule of the house"))
    return found


def _check_undecided(
    one: Selected, obstacles: Sequence[_Obstacle], policy: ReleasePolicy | None, *, said: bool, where: str
) -> None:
    """Refuse a ball that is not first quality, naming the limit in the way: the line only sees how the whole came out."""
    roles = roles_for_undecided(policy)
    for obstacle in obstacles:
        may = obstacle.outcome == "undecided" and bool(roles)
        if may and said:
            continue
        verdict = obstacle.verdict
        mend = _MENDS.get(obstacle.outcome, "measure, rework or regrade the ball")
        if may:
            mend = f"{mend}, or say undecided: true by an account that has the role {' or '.join(roles)} too"
        raise RuleStands(
            f"{one.unit.serial or one.unit.unit} cannot be first quality under {obstacle.rulebook}{obstacle.by}: "
            f"{verdict.quantity}",
            expected=verdict.limit,
            got=verdict.value or obstacle.outcome.replace("_", " "),
            where=where,
            mend=mend,
        )
