"""The balls that corrected facts name: their readings and dates without the correction and with it, and their verdicts."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import msgspec
from msgspec import UNSET, UnsetType

from ledger.application.correction_before import Before
from ledger.application.histories import instant_text
from ledger.application.impact_pass import BallPlace, ChangeCount, Look, ball_place, selected_in_order
from ledger.application.judging import Grounds, judged_rows
from ledger.conformity.from_rows import facts_from_rows
from ledger.conformity.impact import VerdictChange, verdict_changes
from ledger.conformity.outcome import Outcome, Verdict, overall
from ledger.conformity.verdict import judge_ball
from ledger.line.inspections import readings_digest
from ledger.line.quantity import SCALE, format_number
from ledger.line.reading_rows import Measured
from ledger.line.rows import Unit
from ledger.line.standing_readings import manner_of, sources_of
from ledger.store.reader import Reader
from ledger.store.selections import Selected, rows_with
from ledger.store.whereabouts import Whereabouts


class ReadingSaid(msgspec.Struct, frozen=True, kw_only=True):
    """A reading that stands: its value, how and when it was taken, and by which fact."""

    value: str
    unit: str
    gauge: str
    at: str
    fact: str


class ReadingChange(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A quantity whose standing reading is another one; a side is absent where there is none."""

    quantity: str
    before: ReadingSaid | UnsetType = UNSET
    after: ReadingSaid | UnsetType = UNSET


class CorrectedBall(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A ball, and what the correction changes of it.

    ``before`` and ``after``: how the whole ball comes out without the correction and with it; ``before`` is absent where
    the ball would not be in the book.  ``dates``: the day of making, where it is another.  ``release``: the release that
    stands while the readings are not those that it rested on.
    """

    ball: BallPlace
    after: Outcome
    before: Outcome | UnsetType = UNSET
    changes: tuple[VerdictChange, ...] = ()
    readings: tuple[ReadingChange, ...] = ()
    dates: tuple[str, str] | UnsetType = UNSET
    release: str = ""


class CorrectedBalls:
    """The balls of a correction's own facts that are in the book, looked at one by one."""

    def __init__(self, reader: Reader, before: Before, looks: tuple[Look, Look], units: Sequence[str]) -> None:
        """Only units that the book has are kept."""
        self._reader, self._looks = reader, looks
        known = {row.unit for row in rows_with(reader, Unit, "unit", units)}
        self.units = [unit for unit in units if unit in known]
        self._now = selected_in_order(reader, self.units)
        self._past = [before.ball(one) for one in self._now]
        self._balls: list[CorrectedBall] = []

    @property
    def whereabouts(self) -> list[Whereabouts]:
        """Where they are."""
        return [(one.unit.state, one.unit.away) for one in self._now]

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.units)

    @property
    def unfounded(self) -> int:
        """How many are released by a release that rested on other readings."""
        return sum(bool(ball.release) for ball in self._balls)

    def judged(self, change: ChangeCount, grounds: tuple[Grounds, Grounds]) -> int:
        """Judge each without the correction and with it, and count them; how many were judged."""
        count = 0
        for now, past in zip(self._now, self._past, strict=True):
            after = self._verdicts(now, grounds[1], self._looks[1])
            before = None if past is None else self._verdicts(past, grounds[0], self._looks[0])
            if before is not None:
                change.add(before, after)
                count += 1
            self._balls.append(_corrected(now, past, before, after))
        return count

    def _verdicts(self, one: Selected, grounds: Grounds, by: Look) -> list[Verdict]:
        return judge_ball(by.whole, facts_from_rows(judged_rows(one, grounds), by.whole), by.policy)

    def shown(self, listed: int) -> tuple[CorrectedBall, ...]:
        """Those whose verdict changes first, then those whose readings or dates do."""
        ordered = sorted(self._balls, key=lambda ball: (not ball.changes, not ball.readings, ball.ball.unit))
        return tuple(ordered[:listed])

    def of_passes(self, units: list[str]) -> tuple[CorrectedBall, ...]:
        """Other balls of which a verdict changes, judged by the whole rulebook."""
        before, after = (one.verdicts(units) for one in self._looks)
        return tuple(
            CorrectedBall(
                ball=ball_place(one), before=overall(was), after=overall(is_), changes=verdict_changes(was, is_)
            )
            for one, was, is_ in zip(selected_in_order(self._reader, units), before, after, strict=True)
        )


def _corrected(
    now: Selected, past: Selected | None, before: list[Verdict] | None, after: list[Verdict]
) -> CorrectedBall:
    measured = None if past is None else past.measured
    other = readings_digest(measured) != readings_digest(now.measured)
    days = None if past is None else (_day(past.unit), _day(now.unit))
    return CorrectedBall(
        ball=ball_place(now),
        after=overall(after),
        before=UNSET if before is None else overall(before),
        changes=() if before is None else verdict_changes(before, after),
        readings=_reading_changes(measured, now.measured),
        dates=days if days is not None and days[0] != days[1] else UNSET,
        release=now.unit.release or "" if other and past is not None else "",
    )


def _day(unit: Unit) -> str:
    return instant_text(unit.engraved_ms or unit.began_ms)[:10]


def _reading_changes(before: Measured | None, after: Measured | None) -> tuple[ReadingChange, ...]:
    sides = _said(before), _said(after)
    return tuple(
        ReadingChange(quantity=quantity, before=sides[0].get(quantity, UNSET), after=sides[1].get(quantity, UNSET))
        for quantity in sorted({*sides[0], *sides[1]})
        if sides[0].get(quantity) != sides[1].get(quantity)
    )


def _said(measured: Measured | None) -> dict[str, ReadingSaid]:
    manner = manner_of(measured)
    return {
        quantity: ReadingSaid(
            value=format_number(Fraction(getattr(measured, quantity), SCALE)),
            unit=manner[quantity].unit,
            gauge=manner[quantity].gauge,
            at=instant_text(source.at_ms),
            fact=source.fact,
        )
        for quantity, source in sources_of(measured).items()
    }
