"""Many balls judged against one rulebook: counts by requirement and outcome, and the balls nearest or past a limit.

The balls are taken one at a time, so memory does not grow with their number.
"""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterable
from decimal import Decimal

import msgspec
from msgspec import UNSET, UnsetType

from ledger.conformity.facts import BallFacts
from ledger.conformity.house import HousePolicy
from ledger.conformity.outcome import CAUTION, OUTCOMES, Verdict, house_overall, overall
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.verdict import judge_ball


class Worst(msgspec.Struct, frozen=True):
    """A ball near or past a limit: margin as decimal text in the limit's unit."""

    ball: str
    margin: str
    outcome: str


class Tally(msgspec.Struct, frozen=True, kw_only=True):
    """A population judged.

    ``overall``: outcome to count of balls, by the worst verdict of each.  ``counts``: requirement id to outcome to
    count; every outcome is named, zero too.  ``house_overall`` and ``house_counts``: the same by the house's policy,
    absent where there is none.  ``worst``: requirement id to the balls with the least margin, worst first.
    """

    rulebook: str
    balls: int
    overall: dict[str, int]
    counts: dict[str, dict[str, int]]
    worst: dict[str, tuple[Worst, ...]]
    house_overall: dict[str, int] | UnsetType = UNSET
    house_counts: dict[str, dict[str, int]] | UnsetType = UNSET
    caution: str = CAUTION


class _Worsts:
    """The ``keep`` least margins seen for one requirement."""

    def __init__(self, keep: int) -> None:
        self.keep = keep
        self.heap: list[tuple[Decimal, int, Verdict, str]] = []
        self.seen = 0

    def take(self, verdict: Verdict, ball: str) -> None:
        # A min-heap of negated margins holds the best of the worst at its top; of equal margins the earlier ball stays.
        if verdict.margin is None or self.keep < 1:
            return
        self.seen += 1
        row = (-Decimal(verdict.margin), -self.seen, verdict, ball)
        if len(self.heap) < self.keep:
            heapq.heappush(self.heap, row)
        elif row[:2] > self.heap[0][:2]:
            heapq.heapreplace(self.heap, row)

    def rows(self) -> tuple[Worst, ...]:
        ordered = sorted(self.heap, key=lambda row: row[:2], reverse=True)
        return tuple(Worst(ball, verdict.margin or "", verdict.outcome) for _, _, verdict, ball in ordered)


class _Counts:
    """Outcomes of whole balls and of each requirement."""

    def __init__(self, ids: list[str]) -> None:
        self.balls: Counter[str] = Counter()
        self.of: dict[str, Counter[str]] = {id: Counter() for id in ids}

    def overall(self) -> dict[str, int]:
        return {outcome: self.balls[outcome] for outcome in OUTCOMES}

    def each(self) -> dict[str, dict[str, int]]:
        return {id: {outcome: count[outcome] for outcome in OUTCOMES} for id, count in self.of.items()}


def judge_population(
    rulebook: Rulebook, balls: Iterable[BallFacts], *, keep_worst: int = 5, policy: HousePolicy | None = None
) -> Tally:
    """Every ball judged against the rulebook; time linear in the balls, memory in ``keep_worst``."""
    ids = [requirement.id for requirement in rulebook.requirements]
    own, house = _Counts(ids), _Counts(ids)
    worst = {id: _Worsts(keep_worst) for id in ids}
    for facts in balls:
        verdicts = judge_ball(rulebook, facts, policy)
        own.balls[overall(verdicts)] += 1
        house.balls[house_overall(verdicts) or "not_applicable"] += 1
        for verdict in verdicts:
            own.of[verdict.requirement][verdict.outcome] += 1
            if not isinstance(verdict.house, UnsetType):
                house.of[verdict.requirement][verdict.house.outcome] += 1
            worst[verdict.requirement].take(verdict, facts.ball)
    return Tally(
        rulebook=rulebook.id,
        balls=own.balls.total(),
        overall=own.overall(),
        counts=own.each(),
        worst={id: worst[id].rows() for id in ids},
        house_overall=UNSET if policy is None else house.overall(),
        house_counts=UNSET if policy is None else house.each(),
    )
