"""A ball as it stands in a dossier: what is held of it, and its sheet as bytes, read where somebody asks for it."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from ledger.evidence.ball_sheet import BallRows
from ledger.evidence.dossier_format import BallSheet
from ledger.evidence.judged import Judged, judged_in
from ledger.evidence.sheet_text import SheetMade

_sheet = msgspec.json.Decoder(BallSheet)


class BallMade:
    """Rows of a ball, and the sheet that they give."""

    __slots__ = ("_made", "_sheet", "raw", "rows")

    def __init__(self, rows: BallRows, made: SheetMade | BallSheet, raw: bytes) -> None:
        """``made``: the sheet as it was made here, as bytes or read; ``raw``: its bytes."""
        self.rows = rows
        self.raw = raw
        self._made = made
        self._sheet = made if isinstance(made, BallSheet) else None

    @property
    def unit(self) -> str:
        """Which ball it is."""
        return self.rows.unit.unit

    @property
    def sheet(self) -> BallSheet:
        """The sheet."""
        if self._sheet is None:
            self._sheet = _sheet.decode(self.raw)
        return self._sheet

    @property
    def judged(self) -> Sequence[Judged]:
        """The verdicts of the sheet that rest on a reading."""
        return judged_in(self._made.tables) if isinstance(self._made, BallSheet) else self._made.judged

    @property
    def overalls(self) -> Sequence[str]:
        """The worst verdict of each rulebook, in their order."""
        made = self._made
        return [table.overall for table in made.tables] if isinstance(made, BallSheet) else made.overalls
