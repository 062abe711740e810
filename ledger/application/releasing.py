"""Releasing balls: judge first, then say the release with the digests that the verdicts rest on."""

from __future__ import annotations

from collections.abc import Sequence

from ledger.application.judging import JudgedBy, judge_selected, plan_of
from ledger.application.said_before import said_before
from ledger.book.instant import Instant, format_instant
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.errors import RuleStands, UnknownSubject
from ledger.line.inspections import readings_digest
from ledger.line.record import Record
from ledger.line.releases import Basis, Grade, Release
from ledger.line.rows import Plan
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import Selected, Selection, select_balls

_MENDS = {
    "not_measured": "measure it, then release the ball",
    "undecided": "measure it again with a smaller uncertainty, or release the ball at another grade",
    "does_not_conform": "rework the ball, or release it at another grade; no concession changes a limit",
}


def release_records(store: Store, units: Sequence[str], grade: Grade, at_ms: int) -> tuple[Record, ...]:
    """The release of each ball, with its verdicts as they stand now. Raises UnknownSubject, RuleStands."""
    with open_reader(store) as reader:
        return tuple(_release(reader, unit, grade, at_ms, place) for place, unit in enumerate(units))


def released_before(
    store: Store, units: Sequence[str], grade: Grade, *, key: str, author: str
) -> tuple[Record, ...] | None:
    """The releases that stand under a key already; None for a key not used yet. Raises KeyReused for others than these."""
    with open_reader(store) as reader:
        return said_before(
            reader,
            author,
            key,
            lambda records: (
                [(record.unit, record.grade) for record in records if isinstance(record, Release)]
                == [(unit, grade) for unit in units]
            ),
        )


def _release(reader: Reader, unit: str, grade: Grade, at_ms: int, place: int) -> Release:
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
    judged = judge_selected(reader, one)
    _refuse_unjudged(plan, judged, place)
    if grade == "first":
        _refuse_failing(one, judged, place)
    return Release(
        at=format_instant(Instant(at_ms, 0)),
        unit=unit,
        grade=grade,
        readings=readings_digest(one.measured),
        plan=plan.plan,
        bases=tuple(Basis(rulebook=by.rulebook, digest=by.digest, outcome=by.outcome) for by in judged),
    )


def _refuse_unjudged(plan: Plan, judged: Sequence[JudgedBy], place: int) -> None:
    by = {one.rulebook for one in judged}
    missing = [name for name in plan.rulebooks.split(",") if name and name not in by]
    if missing:
        raise RuleStands(
            f"the plan names rulebook {missing[0]}, and no edition of it that is here is adopted",
            expected="one of " + ", ".join(shipped_rulebooks()),
            where=f"units[{place}]",
            mend="adopt the edition (rulebook-adopted), or set a plan that names another rulebook",
        )


def _refuse_failing(one: Selected, judged: Sequence[JudgedBy], place: int) -> None:
    """Say which limit stands in the way, before the line only sees how the whole came out."""
    for by in judged:
        for verdict in by.verdicts:
            if verdict.outcome in {"conforms", "not_applicable"}:
                continue
            raise RuleStands(
                f"{one.unit.serial or one.unit.unit} cannot be first quality under {by.rulebook}: {verdict.quantity}",
                expected=verdict.limit,
                got=verdict.value or verdict.outcome.replace("_", " "),
                where=f"units[{place}]",
                mend=_MENDS.get(verdict.outcome, "measure, rework or regrade the ball"),
            )
