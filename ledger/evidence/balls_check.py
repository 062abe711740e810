"""The balls of a dossier, some hundred a part (see `hands`): sheets, and what there is of each ball beside its sheet.

What a part gives is what the pages of lots and the counts of verdicts need of its balls.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import msgspec

from ledger.conformity.verdict import OUTCOMES
from ledger.evidence.ball_sheet import BallRows, DatedRulebook
from ledger.evidence.hands import ONE_HAND, Hands
from ledger.evidence.lot_check import SeatedBall
from ledger.evidence.parts_check import PartsCheck
from ledger.evidence.sheet_check import SheetCheck

PART = 250
"""Balls of a part; they are folded together."""


class _Told(msgspec.Struct, array_like=True, gc=False):
    """What is told of a part: its balls, and for each rulebook outcome to number of balls."""

    balls: list[SeatedBall]
    outcomes: list[dict[str, int]]


_encode = msgspec.msgpack.Encoder().encode
_decode = msgspec.msgpack.Decoder(_Told).decode


class BallsCheck:
    """Checks balls; ``outcomes`` counts rulebook id to worst verdict to balls."""

    def __init__(
        self, units: Sequence[str], sheets: SheetCheck, parts: PartsCheck, rulebooks: Sequence[DatedRulebook]
    ) -> None:
        """Check the balls of these units by their sheets and by the parts beside these."""
        self._units = units
        self._sheets = sheets
        self._beside = parts
        self._rulebooks = rulebooks
        self._tallies = [Counter[str]() for _ in rulebooks]

    @property
    def outcomes(self) -> dict[str, dict[str, int]]:
        """By rulebook, how many balls came out how by their worst verdict; outcomes worst first."""
        return {
            dated.rulebook.id: {outcome: tally[outcome] for outcome in OUTCOMES if tally[outcome]}
            for dated, tally in zip(self._rulebooks, self._tallies, strict=True)
        }

    def check(self, hands: Hands) -> None:
        """Check them all. Raises MalformedDossier or DossierRejected naming file and field."""
        for raw in self._each(range(-(-len(self._units) // PART)), hands):
            told = _decode(raw)
            for ball in told.balls:
                self._beside.seat(ball)
            for tally, outcomes in zip(self._tallies, told.outcomes, strict=True):
                tally.update(outcomes)

    def _each(self, parts: Sequence[int], hands: Hands) -> Iterator[bytes]:
        # What balls have in common, such as where the addresses in events begin, is made with the first of them, here.
        yield from map(self.check_part, parts[:1])
        yield from (hands if self._beside.may_be_shared else ONE_HAND).each(self.check_part, parts[1:])

    def check_part(self, part: int) -> bytes:
        """Check the balls of a part. Raises MalformedDossier or DossierRejected."""
        tallies = [Counter[str]() for _ in self._rulebooks]
        balls = []
        for ball in self._sheets.check(self._units[part * PART : (part + 1) * PART]):
            self._beside.take_ball(ball)
            for tally, overall in zip(tallies, ball.overalls, strict=True):
                tally[overall] += 1
            balls.append(_seated(ball.rows))
        return _encode(_Told(balls, [dict(tally) for tally in tallies]))


def _seated(rows: BallRows) -> SeatedBall:
    unit = rows.unit
    former = [row.serial for row in rows.serials if row.until_ms is not None]
    return SeatedBall(unit.unit, unit.lot, unit.serial, former)
