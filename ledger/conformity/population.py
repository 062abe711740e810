"""Many balls judged against one rulebook: counts by requirement and outcome, and the balls nearest or past a limit.

The balls are taken one at a time, so memory does not grow with their number.
"""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterable
from decimal import Decimal

import msgspec

from ledger.conformity.facts import BallFacts
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.verdict import CAUTION, OUTCOMES, Verdict, judge_ball, overall


class Worst(msgspec.Struct, frozen=True):
    """A ball near or past a limit: margin as decimal text in the limit's unit."""

    ball: str
    margin: str
    outcome: str


class Tally(msgspec.Struct, frozen=True, kw_only=True):
    """A population judged.

    ``overall``: outcome to count of balls, by the worst verdict of each.  ``counts``: requirement id to outcome to
    count; every outcome is named, zero too.  ``worst``: requirement id to the balls with the least margin, worst first.
    """

    rulebook: str
    balls: int
    overall: dict[str, int]
    counts: dict[str, dict[str, int]]
    worst: dict[str, tuple[Worst, ...]]
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


def judge_population(rulebook: Rulebook, balls: Iterable[BallFacts], *, keep_worst: int = 5) -> Tally:
    """Every ball judged against the rulebook; time linear in the balls, memory in ``keep_worst``."""
    ids = [requirement.id for requirement in rulebook.requirements]
    counts: dict[str, Counter[str]] = {id: Counter() for id in ids}
    worst = {id: _Worsts(keep_worst) for id in ids}
    ball_outcomes: Counter[str] = Counter()
    for facts in balls:
        verdicts = judge_ball(rulebook, facts)
        ball_outcomes[overall(verdicts)] += 1
        for verdict in verdicts:
            counts[verdict.requirement][verdict.outcome] += 1
            worst[verdict.requirement].take(verdict, facts.ball)
    return Tally(
        rulebook=rulebook.id,
        balls=ball_outcomes.total(),
        overall={outcome: ball_outcomes[outcome] for outcome in OUTCOMES},
        counts={id: {outcome: counts[id][outcome] for outcome in OUTCOMES} for id in ids},
        worst={id: worst[id].rows() for id in ids},
    )
