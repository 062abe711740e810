"""What changes when a correction lands: the book as it stands, against the book without that correction.

What was said since stands on both sides, so that the difference is the correction's alone.  Verdicts change where it
touched readings, dates, the lot that a ball is of, a gauge or a model; the balls below any other lot are counted.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET, UnsetType

from ledger.application.adopted_files import find_rulebook
from ledger.application.corrected_balls import CorrectedBall, CorrectedBalls
from ledger.application.correction_before import Before, Landed, find_correction, landed
from ledger.application.correction_breaches import BreachOpened, opened_by
from ledger.application.correction_reach import Reach, count_below
from ledger.application.halves import Halves
from ledger.application.impact_pass import (
    Change,
    ChangeCount,
    Choose,
    Chunk,
    Where,
    WhereCount,
    check_listed,
    judged_chunks,
    look,
    never_chunks,
)
from ledger.application.populations import Population, every_ground
from ledger.application.release_policies import policy_in_force
from ledger.conformity.house_from_rows import house_policy
from ledger.conformity.impact import Foremost, change_keys, concerned_by_readings, limited_to
from ledger.conformity.outcome import CAUTION
from ledger.conformity.rulebook import Rulebook
from ledger.errors import NotFound
from ledger.line.reading_rows import Gauge
from ledger.line.rows import Lot
from ledger.line.standing_readings import gauges_in
from ledger.store.columns import ReadingColumns, ReadWith
from ledger.store.reader import Reader
from ledger.store.selections import Selection, rows_with
from ledger.store.whereabouts import count_whereabouts


class Corrected(msgspec.Struct, frozen=True, kw_only=True):
    """A corrected fact: what it was before, and what it is since; ``after`` is empty where it was withdrawn."""

    fact: str
    before: str
    after: str


class ImpactOfCorrection(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The answer.

    ``balls`` are all that it touches, ``certain`` and ``possible`` by what the records tell of their lots; ``judged``
    those of which a verdict can change, on the quantities ``concerned``.  ``unfounded``: released balls whose readings
    are not those that the release rested on.  Listed first are the balls that the facts themselves name.
    """

    correction: str
    reason: str
    facts: tuple[Corrected, ...]
    rulebook: str
    title: str
    edition: str
    digest: str
    balls: int
    certainties: dict[str, int]
    judged: int
    concerned: tuple[str, ...]
    change: Change
    where: Where
    unfounded: int
    caution: str
    breaches: tuple[BreachOpened, ...] = ()
    listed: tuple[CorrectedBall, ...] = ()
    more: bool = False
    policy: str | UnsetType = UNSET


def impact_of_correction(reader: Reader, fact: str, rulebook: str, *, listed: int = 0) -> ImpactOfCorrection:
    """What a correction changes: ``fact`` is its address, or that of a fact that it corrected.

    Raises NotFound for an unknown fact or rulebook, one that was never corrected, and where no ball is touched; TooLarge.
    """
    check_listed(listed)
    file, policy = find_rulebook(reader, rulebook), policy_in_force(reader)
    correction = landed(reader, find_correction(reader, fact))
    counted = _Counted(reader, _Asking(reader, correction, file.rulebook), (fact, rulebook, listed))
    if not counted.balls:
        raise NotFound(
            f"correction {correction.address} touches no ball",
            where="fact",
            mend="name a correction of a ball, its lots, its gauges, its model or a hold on them",
        )
    kinds = {change.fact: change.replacement for change in correction.record.changes}
    return ImpactOfCorrection(
        correction=correction.address,
        reason=correction.record.reason,
        facts=tuple(
            Corrected(
                fact=said.address,
                before=_kind(said.record),
                after="" if kinds[said.address] is UNSET else _kind(kinds[said.address]),
            )
            for said in correction.before.values()
        ),
        rulebook=file.rulebook.id,
        title=file.rulebook.title,
        edition=file.rulebook.edition,
        digest=file.digest,
        balls=counted.balls,
        certainties=dict(sorted(counted.certainties.items())),
        judged=counted.judged,
        concerned=counted.concerned,
        change=counted.change.change,
        where=counted.where.where(reader),
        unfounded=counted.direct.unfounded,
        caution=CAUTION,
        breaches=opened_by(reader, correction),
        listed=counted.listed(),
        more=counted.direct.count + counted.foremost.seen > listed,
        policy=UNSET if policy is None else policy.address,
    )


def _kind(record: Any) -> str:
    return str(type(record).__struct_config__.tag)


class _Asking:
    """Which balls a correction touches, how they are looked at, and the passes over columns that this takes."""

    def __init__(self, reader: Reader, correction: Landed, rulebook: Rulebook) -> None:
        before = Before(reader, correction)
        self.reach = reach = Reach(reader, correction, before)
        changed_lots = _changed_lots(reader, before, reach)
        self.concerned = _concerned(reader, reach, rulebook, whole=bool(reach.units or reach.models or changed_lots))
        now, policy = every_ground(reader), house_policy(policy_in_force(reader))
        self.grounds = before.grounds(now), now
        book = limited_to(rulebook, self.concerned)
        past = Population(reader, Selection(), book, grounds=self.grounds[0], lots=changed_lots)
        self.looks = (
            look(past, rulebook, policy),
            look(Population(reader, Selection(), book, grounds=now), rulebook, policy),
        )
        self.direct = CorrectedBalls(reader, before, self.looks, sorted(reach.units))
        self.passes: list[tuple[Selection, str | None]] = [
            *((Selection(lot=lot), None) for lot in sorted(changed_lots)),
            *((Selection(), gauge) for gauge in sorted(reach.gauges)),
            *((Selection(model=model), None) for model in sorted(reach.models)),
        ]
        # Only a gauge's or a model's balls may be among those below a lot too.
        self.overlap = bool(reach.models or reach.gauges)
        self.is_one_pass = len(self.passes) == 1 and not reach.shells


class _Passes:
    """What is added up over the columns; a ball that a fact names or an earlier pass took is left out."""

    def __init__(self, reader: Reader, asking: _Asking, listed: int) -> None:
        self._reader, self._asking = reader, asking
        self.change, self.where, self.foremost = ChangeCount(*asking.looks), WhereCount(), Foremost(listed)
        self.judged = self.new = 0
        self.judged_units, self.seen = set(asking.direct.units), set(asking.direct.units)

    def take(self, selection: Selection, gauge: str | None) -> None:
        """Judge the balls of a selection before and after, and count as touched those that are not counted yet."""
        choose = _choice(self.judged_units, gauge)
        read_with = None if gauge is None else ReadWith(gauge)
        for chunk in judged_chunks(self._reader, selection, self._asking.looks, read_with=read_with, choose=choose):
            self._add(chunk)

    def take_never(self, selection: Selection, gauge: str | None, measured: int) -> None:
        """The same of those that were never measured, beside so many that were; no gauge read them."""
        if gauge is None:
            for chunk in never_chunks(self._reader, selection, self._asking.looks, measured):
                self._add(chunk)

    def _add(self, chunk: Chunk) -> None:
        mask = self.change.take(*chunk.judged)
        own = [one.own[mask] for one in chunk.judged]
        self.foremost.take(change_keys(*own), chunk.units, mask.nonzero()[0])
        self.judged += len(chunk.units)
        if not self._asking.overlap:
            return
        new = [unit for unit in chunk.units if unit not in self.seen] if self.seen else chunk.units
        if not self._asking.is_one_pass:
            self.judged_units.update(chunk.units)
            self.seen.update(new)
        self.new += len(new)
        self.where.take(count_whereabouts(self._reader, new))

    def merge(self, later: _Counts) -> None:
        """Add what was counted over the other half of the one pass."""
        self.change.merge(later.change)
        self.where.merge(later.where)
        self.foremost.merge(later.foremost)
        self.judged += later.judged
        self.new += later.new

    @property
    def counts(self) -> _Counts:
        """What can be sent to another process."""
        return _Counts(self.change, self.where, self.foremost, self.judged, self.new)


class _Counts(NamedTuple):
    """What one process added up."""

    change: ChangeCount
    where: WhereCount
    foremost: Foremost
    judged: int
    new: int


def _second_half(reader: Reader, selection: Selection, fact: str, rulebook: str, listed: int) -> _Counts:
    """The one pass over the balls of a selection."""
    correction = landed(reader, find_correction(reader, fact))
    asking = _Asking(reader, correction, find_rulebook(reader, rulebook).rulebook)
    passes = _Passes(reader, asking, listed)
    passes.take(selection, asking.passes[0][1])
    return passes.counts


class _Counted:
    """What is added up over the balls that a correction touches."""

    def __init__(self, reader: Reader, asking: _Asking, words: tuple[str, str, int]) -> None:
        """``words``: the fact, the rulebook and how many are listed."""
        self._listed = words[2]
        self.direct, self.concerned = asking.direct, asking.concerned
        passes = _Passes(reader, asking, self._listed)
        self.change, self.where, self.foremost = passes.change, passes.where, passes.foremost
        passes.judged += self.direct.judged(self.change, asking.grounds)
        self.where.take(self.direct.whereabouts)
        below = asking.reach.below(frozenset(passes.seen))
        self.certainties = count_below(below, self.where, passes.seen if asking.overlap else None)
        for selection, gauge in asking.passes:
            before = passes.judged
            halves = Halves(reader, selection, _second_half, *words) if asking.is_one_pass else None
            passes.take(selection if halves is None else halves.first, gauge)
            second = None if halves is None else halves.second()
            if second is not None:
                passes.merge(second)
            passes.take_never(selection, gauge, passes.judged - before)
        self.certainties["certain"] += self.direct.count + passes.new
        self.judged, self.balls = passes.judged, self.certainties.total()

    def listed(self) -> tuple[CorrectedBall, ...]:
        """The balls that the facts name, then those of which a verdict changes, the worst first."""
        direct = self.direct.shown(self._listed)
        return (*direct, *self.direct.of_passes(self.foremost.units[: self._listed - len(direct)]))


def _changed_lots(reader: Reader, before: Before, reach: Reach) -> dict[str, Lot]:
    """The shell lots whose model, class, day or finish would be others, as they would be."""
    names = sorted({*before.of("lot")}.intersection(reach.shells))
    now: dict[str, Lot] = {row.lot: row for row in rows_with(reader, Lot, "lot", names)}
    past = {name: row for name in names if (row := before.lot(name)) is not None and name in now}
    return {name: row for name, row in past.items() if _deciding(row) != _deciding(now[name])}


def _deciding(lot: Lot) -> tuple[str | None, int | None, int, str | None]:
    return lot.model, lot.weight_class, lot.began_ms, lot.finish


def _concerned(reader: Reader, reach: Reach, rulebook: Rulebook, *, whole: bool) -> tuple[str, ...]:
    gauges: list[Gauge] = rows_with(reader, Gauge, "gauge", sorted(reach.gauges))
    wanted: Iterable[str] = (
        [one.quantity for one in rulebook.requirements] if whole else {gauge.quantity for gauge in gauges}
    )
    return concerned_by_readings(rulebook, wanted)


def _choice(without: Collection[str], gauge: str | None) -> Choose:
    """Balls that are not among some, and of which a gauge read something where one is named."""

    def wanted(raw: ReadingColumns) -> Any:
        import numpy as np  # noqa: PLC0415  # costs start-up time, and only populations need it

        named = raw.of_manner((gauge is None or gauge in gauges_in(text) for text in raw.manners), np.bool_)
        return named & ~np.fromiter(map(without.__contains__, raw.units), np.bool_, raw.balls) if without else named

    return wanted
