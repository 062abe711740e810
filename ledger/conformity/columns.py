"""Many balls judged by columns: the same verdicts as one by one, in a small part of the time.

Balls are sorted into *situations*: the same gauges, units, model, nominal class and standing of every gauge.  Within one,
the verdicts on a quantity depend on its value, its stated U, the weighed class and the day of making alone, and change at
known breakpoints only.  So one ball of each piece is judged as any ball is, and its outcomes stand for all in the piece.
A ball whose situation is not known is judged by itself.

The caller sorts (``BallColumns.situation``) and looks balls up (``facts_of``).  Memory: the pieces that occur, and what is
kept of the worst.  Results equal those of `population.judge_population`; the tests hold them against each other.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from msgspec import UNSET

from ledger.conformity.column_frame import LAST, NO_DAY, RANK, Frame, house_rank
from ledger.conformity.outcome import OUTCOMES, house_overall, overall
from ledger.conformity.population import Tally, Worst
from ledger.conformity.verdict import judge_ball

if TYPE_CHECKING:
    import numpy as np

    from ledger.conformity.facts import BallFacts
    from ledger.conformity.house import HousePolicy
    from ledger.conformity.outcome import Verdict
    from ledger.conformity.requirement import Requirement
    from ledger.conformity.rulebook import Rulebook

    Whole = np.ndarray[Any, np.dtype[np.int64]]
    Ranks = np.ndarray[Any, np.dtype[np.int8]]

__all__ = ["ALONE", "NO_DAY", "UNSTATED", "BallColumns", "ColumnJudge", "Counted", "Judged"]

ALONE = -1
"""The situation of a ball that is judged by itself."""

UNSTATED = -1
"""A stated U that is not there."""

_DERIVED = ("rg_low", "rg_high")

FactsOf = Callable[[Sequence[str]], Sequence["BallFacts"]]


class BallColumns(NamedTuple):
    """Balls as columns of one length, in the order in which they are reported.

    ``values`` and ``stated``: by quantity, in millionths of the unit measured, the latter ``UNSTATED`` where no U is
    stated; what a ball has no reading of may hold anything.  ``made_day``: days since 1970-01-01, or ``NO_DAY``.
    """

    units: Sequence[str]
    situation: Whole
    made_day: Whole
    values: Mapping[str, Whole]
    stated: Mapping[str, Whole]


class Judged(NamedTuple):
    """The place in ``OUTCOMES`` of each ball's worst verdict, by the limits and by the house's policy.

    ``each``: the same for each requirement by its limit, where it was asked for.
    """

    own: Ranks
    house: Ranks
    each: dict[str, Ranks]


class Counted(NamedTuple):
    """What a judge has added up, so that another one may add it to its own: counts by the place in ``OUTCOMES``.

    ``each``: by requirement, by the limit and by the house.  ``worst``: margin, place among the balls taken, unit.
    """

    balls: int
    own: Counter[int]
    house: Counter[int]
    each: dict[str, tuple[Counter[int], Counter[int]]]
    worst: dict[str, list[tuple[float, int, str]]]


class _Part(NamedTuple):
    """The balls of one situation in a chunk, or those of one stated U in it: their places, or that it is all of them."""

    situation: int
    quantity: str
    places: Whole
    whole: bool

    def of(self, cells: Whole) -> Whole:
        """Their cells of a column of the chunk; not a copy where it is all of them."""
        return cells if self.whole else cells[self.places]


class ColumnJudge:
    """Judges chunks of balls against one rulebook and adds them up."""

    def __init__(
        self, rulebook: Rulebook, facts_of: FactsOf, *, policy: HousePolicy | None = None, keep_worst: int = 5
    ) -> None:
        """``facts_of`` gives what is known of balls by their unit ids, in the order asked."""
        self._rulebook, self._facts_of, self._policy, self._keep = rulebook, facts_of, policy, keep_worst
        self._of: dict[str, list[Requirement]] = {}
        for requirement in rulebook.requirements:
            self._of.setdefault(requirement.quantity, []).append(requirement)
        self._frames: dict[tuple[int, str, tuple[int, ...]], Frame] = {}
        self._balls = 0
        self._own, self._house = Counter[int](), Counter[int]()
        # Balls that were judged one by one, and what other judges counted.
        self._alone: dict[str, tuple[Counter[int], Counter[int]]] = {
            one.id: (Counter(), Counter()) for one in rulebook.requirements
        }
        self._worst: dict[str, list[tuple[float, int, str]]] = {one.id: [] for one in rulebook.requirements}

    def take(self, chunk: BallColumns, days_of: Callable[[int], Sequence[int]], *, each: bool = False) -> Judged:
        """Judge a chunk. ``days_of``: days since 1970-01-01 on which an approval of a situation's model begins."""
        import numpy as np  # noqa: PLC0415  # costs start-up time, and only populations need it

        count = len(chunk.units)
        shown = {one.id: np.full(count, LAST, dtype=np.int8) for one in self._rulebook.requirements} if each else {}
        judged = Judged(np.full(count, LAST, dtype=np.int8), np.full(count, LAST, dtype=np.int8), shown)
        alone: list[Whole] = []
        for situation, places in _situations(chunk.situation):
            if situation == ALONE or not self._take_situation(chunk, judged, situation, places, days_of(situation)):
                alone.append(places)
        if alone:
            self._take_alone(chunk, judged, np.sort(np.concatenate(alone)))
        for ranks, counter in ((judged.own, self._own), (judged.house, self._house)):
            counter.update(dict(enumerate(np.bincount(ranks, minlength=len(OUTCOMES)).tolist())))
        self._balls += count
        return judged

    @property
    def balls(self) -> int:
        """Balls taken and added so far."""
        return self._balls

    def counted(self) -> Counted:
        """Everything taken so far, for another judge to add."""
        each = {id: (Counter(own), Counter(house)) for id, (own, house) in self._alone.items()}
        for frame in self._frames.values():
            for code, piece in frame.pieces.items():
                seen = int(frame.seen[code])
                for place, requirement in enumerate(frame.requirements):
                    own, house = each[requirement.id]
                    own[piece.outcomes[place]] += seen
                    house[piece.houses[place]] += seen
        return Counted(self._balls, self._own, self._house, each, self._worst)

    def add(self, other: Counted) -> None:
        """Add what another judge counted over balls that come after those taken so far."""
        self._own.update(other.own)
        self._house.update(other.house)
        for id, counts in other.each.items():
            for mine, more in zip(self._alone[id], counts, strict=True):
                mine.update(more)
        for id, found in other.worst.items():
            later = [(margin, self._balls + at, unit) for margin, at, unit in found]
            self._worst[id] = sorted([*self._worst[id], *later])[: self._keep]
        self._balls += other.balls

    def tally(self) -> Tally:
        """Everything taken so far."""
        each, with_policy = self.counted().each, self._policy is not None
        return Tally(
            rulebook=self._rulebook.id,
            balls=self._balls,
            overall=_named(self._own),
            counts={id: _named(own) for id, (own, _) in each.items()},
            worst=self._worst_rows(),
            house_overall=_named(self._house) if with_policy else UNSET,
            house_counts={id: _named(house) for id, (_, house) in each.items()} if with_policy else UNSET,
        )

    def _take_situation(
        self, chunk: BallColumns, judged: Judged, situation: int, places: Whole, days: Sequence[int]
    ) -> bool:
        """Judge the balls of one situation; False, with nothing taken, where they have to be judged one by one."""
        whole = len(places) == len(chunk.units)
        parts = [part for quantity in self._of for part in _by_stated(chunk, _Part(situation, quantity, places, whole))]
        framed: list[tuple[_Part, Frame, Whole]] = []
        for part in parts:
            frame = self._frame(chunk, part, days)
            framed.append((part, frame, self._codes(chunk, part, frame)))
        if not all(frame.exact for _, frame, _ in framed):
            return False
        self._learn(chunk, framed)
        for part, frame, codes in framed:
            self._count(chunk, judged, part, frame, codes)
        return True

    def _frame(self, chunk: BallColumns, part: _Part, days: Sequence[int]) -> Frame:
        key = (part.situation, part.quantity, _stated_at(chunk, part.quantity, int(part.places[0])))
        frame = self._frames.get(key)
        if frame is None:
            facts = self._facts_of([chunk.units[int(part.places[0])]])[0]
            frame = self._frames[key] = Frame(self._of[part.quantity], facts, self._policy, days)
        return frame

    def _codes(self, chunk: BallColumns, part: _Part, frame: Frame) -> Whole:
        return frame.codes(_values(chunk, part, frame), part.of(chunk.values["mass"]), part.of(chunk.made_day))

    def _learn(self, chunk: BallColumns, framed: Sequence[tuple[_Part, Frame, Whole]]) -> None:
        """Judge one ball of every piece that has not occurred before."""
        wanted: dict[int, list[tuple[Frame, int]]] = {}
        for part, frame, codes in framed:
            for code, place in _new_codes(frame, codes, part.places):
                wanted.setdefault(place, []).append((frame, code))
        places = sorted(wanted)
        for place, facts in zip(places, self._facts_of([chunk.units[place] for place in places]), strict=True):
            verdicts = {one.requirement: one for one in judge_ball(self._rulebook, facts, self._policy)}
            for frame, code in wanted[place]:
                frame.learn(code, verdicts)

    def _count(self, chunk: BallColumns, judged: Judged, part: _Part, frame: Frame, codes: Whole) -> None:
        import numpy as np  # noqa: PLC0415  # see `take`

        frame.seen += np.bincount(codes, minlength=len(frame.seen))
        places = slice(None) if part.whole else part.places
        judged.own[places] = np.minimum(judged.own[places], frame.own[codes])
        if self._policy is not None:
            judged.house[places] = np.minimum(judged.house[places], frame.house[codes])
        value = _values(chunk, part, frame)
        for place, requirement in enumerate(frame.requirements):
            if judged.each or frame.reading is not None:
                outcomes, compared = np.zeros((2, len(frame.seen)), dtype=np.int8)
                for code, piece in frame.pieces.items():
                    outcomes[code], compared[code] = piece.outcomes[place], piece.compared[place]
                if judged.each:
                    judged.each[requirement.id][places] = outcomes[codes]
                if compared.any() and self._keep:
                    at = np.nonzero(compared[codes])[0]
                    self._keep_worst(requirement.id, frame.margins(place, value[at]), part.places[at], chunk.units)

    def _keep_worst(self, id: str, margins: Any, places: Whole, units: Sequence[str]) -> None:
        import numpy as np  # noqa: PLC0415  # see `take`

        kept = self._worst[id]
        if len(kept) == self._keep:
            near = np.nonzero(margins <= kept[-1][0])[0]
            margins, places = margins[near], places[near]
        if len(margins) > self._keep:
            least = np.lexsort((places, margins))[: self._keep]
            margins, places = margins[least], places[least]
        found = [(float(m), self._balls + int(at), units[int(at)]) for m, at in zip(margins, places, strict=True)]
        self._worst[id] = sorted([*kept, *found])[: self._keep]

    def _take_alone(self, chunk: BallColumns, judged: Judged, places: Whole) -> None:
        for place, facts in zip(
            places.tolist(), self._facts_of([chunk.units[place] for place in places.tolist()]), strict=True
        ):
            verdicts = judge_ball(self._rulebook, facts, self._policy)
            judged.own[place] = RANK[overall(verdicts)]
            judged.house[place] = RANK[house_overall(verdicts) or "not_applicable"]
            for verdict in verdicts:
                own, house = self._alone[verdict.requirement]
                own[RANK[verdict.outcome]] += 1
                house[house_rank(verdict)] += 1
                if judged.each:
                    judged.each[verdict.requirement][place] = RANK[verdict.outcome]
                self._alone_worst(verdict, place, chunk.units[place])

    def _alone_worst(self, verdict: Verdict, place: int, unit: str) -> None:
        if verdict.margin is not None and self._keep:
            kept = [*self._worst[verdict.requirement], (float(verdict.margin), self._balls + place, unit)]
            self._worst[verdict.requirement] = sorted(kept)[: self._keep]

    def _worst_rows(self) -> dict[str, tuple[Worst, ...]]:
        units = sorted({unit for kept in self._worst.values() for _, _, unit in kept})
        found: dict[str, tuple[str, dict[str, Verdict]]] = {}
        for unit, facts in zip(units, self._facts_of(units), strict=True):
            verdicts = judge_ball(self._rulebook, facts, self._policy)
            found[unit] = (facts.ball, {one.requirement: one for one in verdicts})
        rows: dict[str, tuple[Worst, ...]] = {}
        for id, kept in self._worst.items():
            named = [(found[unit][0], found[unit][1][id]) for _, _, unit in kept]
            rows[id] = tuple(Worst(ball, one.margin or "", one.outcome) for ball, one in named)
        return rows


def _situations(situation: Whole) -> Iterator[tuple[int, Whole]]:
    """Each situation of a chunk with the places of its balls, in order."""
    import numpy as np  # noqa: PLC0415  # see `ColumnJudge.take`

    if not len(situation):
        return
    order = np.argsort(situation, kind="stable")
    ordered = situation[order]
    starts = np.nonzero(np.diff(ordered))[0] + 1
    for places in np.split(order, starts):
        yield int(situation[places[0]]), places


def _by_stated(chunk: BallColumns, part: _Part) -> list[_Part]:
    """A part cut by the U that is stated for its quantity, where it is not the same for all."""
    import numpy as np  # noqa: PLC0415  # see `ColumnJudge.take`

    parts = [part]
    for quantity in _bearing(part.quantity):
        cut: list[_Part] = []
        for one in parts:
            stated = one.of(chunk.stated[quantity])
            if (stated == stated[0]).all():
                cut.append(one)
            else:
                cut += [one._replace(places=one.places[stated == u], whole=False) for u in np.unique(stated)]
        parts = cut
    return parts


def _bearing(quantity: str) -> tuple[str, ...]:
    return (quantity, *_DERIVED) if quantity == "differential" else (quantity,)


def _stated_at(chunk: BallColumns, quantity: str, place: int) -> tuple[int, ...]:
    return tuple(int(chunk.stated[one][place]) for one in _bearing(quantity))


def _values(chunk: BallColumns, part: _Part, frame: Frame) -> Whole:
    if frame.derived:
        low, high = _DERIVED
        return part.of(chunk.values[high]) - part.of(chunk.values[low])
    values: Whole = part.of(chunk.values[part.quantity])
    return values


def _new_codes(frame: Frame, codes: Whole, places: Whole) -> list[tuple[int, int]]:
    """Pieces that are not known yet, each with the place of one ball in it."""
    import numpy as np  # noqa: PLC0415  # see `ColumnJudge.take`

    known = frame.known[codes]
    if known.all():
        return []
    new = np.nonzero(~known)[0]
    found, first = np.unique(codes[new], return_index=True)
    return [(int(code), int(places[new[at]])) for code, at in zip(found, first, strict=True)]


def _named(counts: Counter[int]) -> dict[str, int]:
    return {outcome: counts[rank] for rank, outcome in enumerate(OUTCOMES)}
