"""Which judged samples cover a lot.

A judgement is a decision, so its place in the book is the place at which it was made.  A lot is covered by the newest
judgement of its own; without one, by that of the lots that it goes on from:

- A lot that was split off is covered by what the lot it left was covered by *before* it left: that sample was of the same
  pieces.  A sample judged after the split may have been drawn from what stayed, so it says nothing of what went.
- A merged lot is covered when each of its sources was, in the same sense, before they became one; it is accepted when
  all were, and rejected when any was.

A lot poured from others is a new thing: no sample of cores covers shells.  An accepted sample covers nothing any more of
pieces that were worked afterwards so that the quantity can have changed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

from ledger.line.fact import parse_address
from ledger.line.lineage import HEIRS
from ledger.line.rows import Descent, LotStep, SampleJudged
from ledger.line.state import Need, State
from ledger.line.voided_readings import changed_by


class Cover(NamedTuple):
    """The judgements of samples for one quantity that a lot rests on; and what has none: the lot, or sources merged in it.

    ``outdated``: of the accepted ones, those after which the pieces were worked so that the quantity can have changed.
    """

    judged: tuple[SampleJudged, ...]
    missing: tuple[str, ...]
    outdated: tuple[SampleJudged, ...] = ()

    @property
    def accepted(self) -> bool:
        """Whether every piece is covered by an accepted sample."""
        return not self.missing and not self.outdated and all(row.accepted for row in self.judged)

    @property
    def rejected(self) -> bool:
        """Whether some piece is of a rejected sample: then each ball is measured."""
        return any(not row.accepted for row in self.judged)


SamplesOf = Callable[[str], Iterable[SampleJudged]]
ParentsOf = Callable[[str], Iterable[Descent]]
StepsOf = Callable[[str], Iterable[LotStep]]


def sample_cover(lot: str, quantity: str, samples: SamplesOf, parents: ParentsOf, steps: StepsOf) -> Cover:
    """How samples cover a lot for a quantity (see above), from the judgements of each lot and the edges to its parents."""
    judged: dict[str, SampleJudged] = {}
    missing: dict[str, None] = {}
    outdated: dict[str, SampleJudged] = {}
    # The last element: when the pieces were last worked, in that lot or since they left it, so that it can have changed.
    waiting: list[tuple[str, tuple[int, int] | None, str, int]] = [(lot, None, lot, 0)]
    seen = set(waiting)
    while waiting:
        name, before, whose, worked_ms = waiting.pop()
        worked_ms = max(worked_ms, _last_worked_ms(steps(name), quantity, before))
        rows = [row for row in samples(name) if row.quantity == quantity and _earlier(row.sample, before)]
        edges = [] if rows else [edge for edge in parents(name) if edge.part in HEIRS]
        if rows:
            newest = max(rows, key=lambda row: parse_address(row.sample))
            judged[newest.sample] = newest
            if newest.accepted and newest.judged_ms < worked_ms:
                outdated[newest.sample] = newest
        elif not edges:
            missing[whose] = None
        for edge in edges:
            left = parse_address(edge.descent.rpartition(".")[0])
            earliest = left if before is None else min(left, before)
            source = (edge.parent, earliest, whose if edge.part == "split" else edge.parent, worked_ms)
            if source not in seen:
                seen.add(source)
                waiting.append(source)
    return Cover(tuple(judged.values()), tuple(missing), tuple(outdated.values()))


def _last_worked_ms(steps: Iterable[LotStep], quantity: str, before: tuple[int, int] | None) -> int:
    """When a lot was last worked so that a quantity can have changed, of what was said of it before a place; 0 for never."""
    found = [step.ended_ms for step in steps if quantity in changed_by(step.step) and _earlier(step.lot_step, before)]
    return max(found, default=0)


def _earlier(address: str, before: tuple[int, int] | None) -> bool:
    return before is None or parse_address(address) < before


def goes_on_from(lot: str, parents: ParentsOf) -> list[str]:
    """The lot and every lot that it goes on from, nearest first."""
    found, at = [lot], 0
    while at < len(found):
        found += dict.fromkeys(
            edge.parent for edge in parents(found[at]) if edge.part in HEIRS and edge.parent not in found
        )
        at += 1
    return found


def cover_needs(lot: str, state: State) -> Iterator[Need]:
    """What `lot_cover` reads, as far as the lots above are loaded; ask until nothing new comes."""

    def known(name: str) -> Iterable[Descent]:
        return state.where(Descent, "child", name) if state.has(Need(Descent, "child", name)) else ()

    for name in goes_on_from(lot, known):
        yield Need(Descent, "child", name)
        yield Need(SampleJudged, "lot", name)
        yield Need(LotStep, "lot", name)


def lot_cover(lot: str, quantity: str, state: State) -> Cover:
    """`sample_cover` of what is loaded."""
    return sample_cover(
        lot,
        quantity,
        lambda name: state.where(SampleJudged, "lot", name),
        lambda name: state.where(Descent, "child", name),
        lambda name: state.where(LotStep, "lot", name),
    )
