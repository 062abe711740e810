"""Lifted holds and concessions: a hold that doubts a release is not lifted while its ball is first quality unproved.

Four breaches doubt releases: what a release rests on was corrected, or the ball was worked over after it; an accepted
sample was taken back, or an accepted type test; a sample of the same pieces was rejected after it.  So does a hold that the
duties placed for a reading after the release (`ledger.duties.late_readings`).  Such a hold is lifted from a ball, or from a
lot with the balls of it and of all that was split off or merged from it, once each that is first quality here is so by what
stands now, or has another grade.  Cost: each of those balls is judged.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from ledger.access.tokens import Account
from ledger.application.judging import judge_selected, rulebooks_named
from ledger.application.release_policies import policy_in_force
from ledger.duties.late_readings import AFTER_RELEASE, HOLD
from ledger.errors import RuleStands, UnknownSubject
from ledger.line.holds import Concession, HoldLifted, is_breach_hold
from ledger.line.lineage import HEIRS
from ledger.line.release_policy import OUTRIGHT, UNFOUNDED, roles_for_undecided
from ledger.line.rows import Descent, Hold
from ledger.line.samples import SAMPLE_REJECTED, SAMPLE_TAKEN_BACK
from ledger.line.type_tests_taken_back import TYPE_TEST_TAKEN_BACK
from ledger.store.reader import Reader
from ledger.store.selections import Selected, Selection, rows_with, select_balls

DOUBTS = frozenset({UNFOUNDED, SAMPLE_TAKEN_BACK, SAMPLE_REJECTED, TYPE_TEST_TAKEN_BACK})
"""The breaches whose holds doubt a release."""


def check_lift(reader: Reader, record: HoldLifted | Concession, where: str, account: Account) -> None:
    """The holds that a record lifts may be lifted. Raises RuleStands, UnknownSubject."""
    names = [record.hold] if isinstance(record, HoldLifted) else list(record.holds)
    holds: list[Hold] = rows_with(reader, Hold, "hold", names)
    _refuse_unseen(names, holds, where)
    nodes = {hold.node for hold in holds if _doubts(hold)}
    for node in sorted(nodes):
        for one in _balls_of(reader, node):
            if (one.unit.state, one.unit.grade) == ("released", "first"):
                _check_still_first(reader, one, where, account)


def _doubts(hold: Hold) -> bool:
    """Whether a hold doubts a release: a breach's own, or one that the duties placed for a reading after it."""
    by_breach = hold.reason in DOUBTS and is_breach_hold(hold.hold)
    return by_breach or (hold.reason == AFTER_RELEASE and hold.hold.startswith(HOLD) and hold.node.startswith("unit:"))


def _refuse_unseen(names: Sequence[str], holds: Sequence[Hold], where: str) -> None:
    """A hold whose id follows from a fact can be named before it is in the book, and nobody has looked at its ball."""
    unseen = sorted(
        {name for name in names if is_breach_hold(name) or name.startswith(HOLD)} - {hold.hold for hold in holds}
    )
    if unseen:
        raise UnknownSubject(
            f"hold {unseen[0]} is not in the book",
            where=where,
            mend="enter what it is opened by first, look at what it holds, then lift it",
        )


def _balls_of(reader: Reader, node: str) -> Iterator[Selected]:
    """The ball of a node; or the balls of a lot, and of the lots that go on from it."""
    sort, _, name = node.partition(":")
    if sort == "unit":
        yield from select_balls(reader.transaction, Selection(unit=name))
        return
    lots, at = [name], 0
    while at < len(lots):
        yield from select_balls(reader.transaction, Selection(lot=lots[at], state="released"))
        below: list[Descent] = reader.rows(Descent, "parent", lots[at])
        lots += dict.fromkeys(edge.child for edge in below if edge.part in HEIRS and edge.child not in lots)
        at += 1


def _check_still_first(reader: Reader, one: Selected, where: str, account: Account) -> None:
    policy = policy_in_force(reader)
    judged = judge_selected(reader, one)
    named = rulebooks_named(reader, one)
    outcomes: list[Any] = ["not_measured" for _ in range(len(named) - len(judged))]
    for by in judged:
        houses = [by.house_released_as] if policy is not None and policy.house == "needed" else []
        outcomes += [by.released_as, *houses]
    for outcome in outcomes:
        if outcome in OUTRIGHT:
            continue
        if outcome == "undecided" and not set(roles_for_undecided(policy)).isdisjoint(account.roles):
            continue
        raise RuleStands(
            f"unit {one.unit.unit} is first quality, and is not shown to be so by the readings that stand now",
            expected="conforms",
            got=outcome,
            where=where,
            mend="give it a lower grade (regrade), rework or scrap it, then lift the hold; no concession changes a limit",
        )
