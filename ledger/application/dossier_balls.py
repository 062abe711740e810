"""The balls of a dossier as they are written: rows and sheet of each, read as often as a part of the dossier asks.

Few are kept once they were made; of many, each part reads them anew, so that memory does not grow with the balls.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ledger.application.dossier_rows import BATCH, DossierRows
from ledger.evidence.ball_made import BallMade
from ledger.evidence.ball_sheet import DatedRulebook
from ledger.evidence.sheet_text import SheetText


class JudgedBalls:
    """The balls of ``units`` in their order, each judged by the rulebooks."""

    def __init__(self, rows: DossierRows, units: Sequence[str], rulebooks: Sequence[DatedRulebook]) -> None:
        """Nothing is read yet."""
        self._rows = rows
        self._units = units
        self._text = SheetText(rulebooks)
        self._kept: list[BallMade] = []

    def __iter__(self) -> Iterator[BallMade]:
        """Each ball. Raises NotFound for one without lot or model."""
        if self._units and len(self._kept) == len(self._units):
            yield from self._kept
            return
        self._kept = []
        for rows in self._rows.balls(self._units):
            made = self._text.sheet(rows)
            ball = BallMade(rows, made, made.raw)
            if len(self._units) <= BATCH:
                self._kept.append(ball)
            yield ball
