"""A ball as it stands in a dossier: what is held of it, and its sheet as bytes, read where somebody asks for it."""

from __future__ import annotations

from ledger.evidence.ball_sheet import BallRows
from ledger.evidence.dossier_format import BallSheet, parse_page


class BallMade:
    """Rows of a ball, and the sheet that they give."""

    __slots__ = ("_sheet", "raw", "rows")

    def __init__(self, rows: BallRows, raw: bytes, sheet: BallSheet | None = None) -> None:
        """``raw``: the bytes of the sheet; ``sheet``: what they say, where that was read before."""
        self.rows = rows
        self.raw = raw
        self._sheet = sheet

    @property
    def unit(self) -> str:
        """Which ball it is."""
        return self.rows.unit.unit

    @property
    def sheet(self) -> BallSheet:
        """The sheet."""
        if self._sheet is None:
            self._sheet = parse_page(self.raw, BallSheet, f"balls/{self.unit}.json")
        return self._sheet
