"""What changes when the rule does: balls under one edition, or as made on one date, against another."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import NamedTuple

import msgspec
from msgspec import UNSET, UnsetType

from ledger.application.adopted_files import find_rulebook
from ledger.application.halves import Halves
from ledger.application.impact_pass import (
    BallPlace,
    Change,
    ChangeCount,
    Chunk,
    Look,
    Where,
    WhereCount,
    ball_place,
    check_listed,
    judged_chunks,
    look,
    never_chunks,
    selected_in_order,
)
from ledger.application.populations import Population, every_ground
from ledger.application.release_policies import policy_in_force
from ledger.conformity.house_from_rows import house_policy
from ledger.conformity.impact import (
    Foremost,
    VerdictChange,
    change_keys,
    concerned_by_rules,
    limited_to,
    verdict_changes,
)
from ledger.conformity.outcome import CAUTION, Outcome, overall
from ledger.conformity.rulebook import RulebookFile
from ledger.errors import MalformedInput
from ledger.store.reader import Reader
from ledger.store.selections import Selection
from ledger.store.whereabouts import count_whereabouts


class Under(NamedTuple):
    """A rulebook by name or digest; as if every ball had been made on a day, and for an event on a day, where given."""

    rulebook: str
    made_on: dt.date | None = None
    event_on: dt.date | None = None


class UnderSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One side of the question: the edition, and the dates that were taken in the place of a ball's own."""

    rulebook: str
    title: str
    edition: str
    digest: str
    made_on: dt.date | None = None
    event_on: dt.date | None = None

    @property
    def words(self) -> str:
        """In words."""
        said = f"{self.title}, edition {self.edition}"
        said += "" if self.made_on is None else f", as if made on {self.made_on}"
        return said if self.event_on is None else f"{said}, for an event on {self.event_on}"


class BallChange(msgspec.Struct, frozen=True, kw_only=True):
    """A ball of which a verdict changes: how the whole ball comes out before and after, and the quantities that change."""

    ball: BallPlace
    before: Outcome
    after: Outcome
    changes: tuple[VerdictChange, ...]


class ImpactOfRules(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The answer. ``concerned``: the quantities whose limits are not the same, which alone were judged.

    ``where``: of the balls of which a verdict changes.  ``listed``: the worst of them; ``more``: that there are others.
    """

    before: UnderSeen
    after: UnderSeen
    balls: int
    concerned: tuple[str, ...]
    change: Change
    where: Where
    caution: str
    listed: tuple[BallChange, ...] = ()
    more: bool = False
    policy: str | UnsetType = UNSET


def impact_of_rules(
    reader: Reader, selection: Selection, before: Under, after: Under, *, listed: int = 0
) -> ImpactOfRules:
    """Judge a selection both ways in one pass, and list the first ``listed`` balls that come out otherwise.

    Raises NotFound for an unknown rulebook, MalformedInput where both ways are the same, TooLarge.
    """
    check_listed(listed)
    if before == after:
        raise MalformedInput(
            "nothing differs between before and after",
            where="against",
            mend="name another rulebook, or a date on which the balls are taken to be made or used",
        )
    both = _Both(reader, selection, before, after)
    halves = Halves(reader, selection, _count_measured, before, after, listed)
    counted = _Counted(both.looks, listed)
    for chunk in judged_chunks(reader, halves.first, both.looks):
        counted.take(reader, chunk)
    second = halves.second()
    if second is not None:
        counted.merge(second)
    for chunk in never_chunks(reader, selection, both.looks, counted.balls):
        counted.take(reader, chunk)
    return ImpactOfRules(
        before=_seen(before, both.files[0]),
        after=_seen(after, both.files[1]),
        balls=counted.balls,
        concerned=both.concerned,
        change=counted.change.change,
        where=counted.where.where(reader),
        caution=CAUTION,
        listed=ball_changes(reader, both.looks, counted.foremost.units),
        more=counted.foremost.seen > listed,
        policy=UNSET if both.policy is None else both.policy.address,
    )


class _Both:
    """The two sides of a question, and how each looks at the balls."""

    def __init__(self, reader: Reader, selection: Selection, before: Under, after: Under) -> None:
        self.files = [find_rulebook(reader, side.rulebook) for side in (before, after)]
        books = [file.rulebook for file in self.files]
        other_dates = before[1:] != after[1:] or books[0].made_event != books[1].made_event
        self.concerned = concerned_by_rules(*books, other_dates=other_dates)
        self.policy, grounds = policy_in_force(reader), every_ground(reader)
        self.looks: list[Look] = []
        for side, book in zip((before, after), books, strict=True):
            limited = limited_to(book, self.concerned)
            population = Population(
                reader, selection, limited, made_on=side.made_on, event_on=side.event_on, grounds=grounds
            )
            self.looks.append(look(population, book, house_policy(self.policy)))


class _Counted:
    """What is added up over the balls."""

    def __init__(self, looks: Sequence[Look], listed: int) -> None:
        self.change, self.where, self.foremost, self.balls = ChangeCount(*looks), WhereCount(), Foremost(listed), 0

    def take(self, reader: Reader, chunk: Chunk) -> None:
        mask = self.change.take(*chunk.judged)
        places = mask.nonzero()[0]
        self.where.take(count_whereabouts(reader, [chunk.units[place] for place in places.tolist()]))
        self.foremost.take(change_keys(chunk.judged[0].own[mask], chunk.judged[1].own[mask]), chunk.units, places)
        self.balls += len(chunk.units)

    def merge(self, later: _Counted) -> None:
        self.change.merge(later.change)
        self.where.merge(later.where)
        self.foremost.merge(later.foremost)
        self.balls += later.balls


def _count_measured(reader: Reader, selection: Selection, before: Under, after: Under, listed: int) -> _Counted:
    """What the balls of a selection that were ever measured add up to."""
    both = _Both(reader, selection, before, after)
    counted = _Counted(both.looks, listed)
    for chunk in judged_chunks(reader, selection, both.looks):
        counted.take(reader, chunk)
    return counted


def ball_changes(reader: Reader, looks: list[Look], units: list[str]) -> tuple[BallChange, ...]:
    """Some balls judged by the whole rulebook before and after."""
    found, (before, after) = selected_in_order(reader, units), [one.verdicts(units) for one in looks]
    return tuple(
        BallChange(ball=ball_place(one), before=overall(was), after=overall(is_), changes=verdict_changes(was, is_))
        for one, was, is_ in zip(found, before, after, strict=True)
    )


def _seen(side: Under, file: RulebookFile) -> UnderSeen:
    book = file.rulebook
    return UnderSeen(
        rulebook=book.id,
        title=book.title,
        edition=book.edition,
        digest=file.digest,
        made_on=side.made_on,
        event_on=side.event_on,
    )
