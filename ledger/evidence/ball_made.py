"""A ball as it stands in a dossier: what is held of it, and its sheet as bytes, read where somebody asks for it."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from ledger.evidence.ball_sheet import BallRows
from ledger.evidence.dossier_format import BallSheet, VerdictTable


class _Tables(msgspec.Struct, frozen=True):
    """The part of a sheet that events are told from."""

    tables: tuple[VerdictTable, ...]


_sheet = msgspec.json.Decoder(BallSheet)
_tables = msgspec.json.Decoder(_Tables)


class BallMade:
    """Rows of a ball, and the sheet that they give."""

    __slots__ = ("_sheet", "raw", "rows")

    def __init__(self, rows: BallRows, raw: bytes, sheet: BallSheet | None = None) -> None:
        """``raw``: the bytes of the sheet, which were made here; ``sheet``: what they say, where that was read before."""
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
            self._sheet = _sheet.decode(self.raw)
        return self._sheet

    @property
    def tables(self) -> Sequence[VerdictTable]:
        """The verdicts of the sheet, without the rest of it where that was not read yet."""
        return _tables.decode(self.raw).tables if self._sheet is None else self._sheet.tables
