"""Conformity of a ball or of a selection against a rulebook: counts, the worst balls, and each ball's verdicts."""

from __future__ import annotations

import msgspec

from ledger.application.adopted_files import find_rulebook
from ledger.application.halves import Halves
from ledger.application.judging import JudgedBy, grounds_of, judge_by, judged_rows
from ledger.application.populations import Population
from ledger.application.release_policies import policy_in_force
from ledger.conformity.columns import Counted
from ledger.conformity.house_from_rows import house_policy
from ledger.conformity.population import Tally
from ledger.conformity.verdict import CAUTION
from ledger.errors import TooLarge
from ledger.store.reader import Reader
from ledger.store.selections import Selection, select_balls

LISTED = 1_000
"""Balls whose verdicts one answer lists."""


class JudgedBall(msgspec.Struct, frozen=True, kw_only=True):
    """One ball of a selection and how it came out."""

    unit: str
    serial: str | None
    lot: str
    state: str
    judged: JudgedBy


class Conformity(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The answer for a selection. ``balls`` is filled where it was asked for; ``more`` says that it was cut.

    ``policy``: the fact that states the rule of the house by which the balls are judged too, where one is in force.
    """

    rulebook: str
    edition: str
    digest: str
    tally: Tally
    caution: str
    balls: tuple[JudgedBall, ...] = ()
    more: bool = False
    policy: str = ""


def conformity_of(reader: Reader, selection: Selection, rulebook: str, *, listed: int = 0) -> Conformity:
    """Judge every ball of the selection; list the first ``listed`` of them, at most 1,000. Raises NotFound, TooLarge."""
    if listed > LISTED:
        raise TooLarge("too many balls for one list", expected=f"at most {LISTED}", got=listed, mend="page with after")
    edition, policy = find_rulebook(reader, rulebook), policy_in_force(reader)
    halves = Halves(reader, selection, _counted, rulebook)
    population = Population(reader, selection, edition.rulebook)
    judge = population.judge(house_policy(policy))
    for chunk in population.measured(halves.first):
        population.take(judge, chunk)
    second = halves.second()
    if second is not None:
        judge.add(second)
    never = population.never(judge.balls)
    if never is not None:
        population.take(judge, never)
    tally = judge.tally()
    selected = select_balls(reader.transaction, selection._replace(limit=listed)) if listed else []
    grounds = grounds_of(reader, selected)
    balls = tuple(
        JudgedBall(
            unit=one.unit.unit,
            serial=one.unit.serial,
            lot=one.unit.lot,
            state=one.unit.state,
            judged=judge_by(edition, judged_rows(one, grounds), policy),
        )
        for one in selected
    )
    return Conformity(
        rulebook=edition.rulebook.id,
        edition=edition.rulebook.edition,
        digest=edition.digest,
        tally=tally,
        caution=CAUTION,
        balls=balls,
        more=0 < listed < tally.balls,
        policy="" if policy is None else policy.address,
    )


def _counted(reader: Reader, selection: Selection, rulebook: str) -> Counted:
    """The balls of a selection that were ever measured, judged and added up."""
    population = Population(reader, selection, find_rulebook(reader, rulebook).rulebook)
    judge = population.judge(house_policy(policy_in_force(reader)))
    for chunk in population.measured():
        population.take(judge, chunk)
    return judge.counted()
