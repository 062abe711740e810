"""A ball as it stands in a dossier: what is held of it, and its sheet as bytes, read where somebody asks for it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import msgspec
from msgspec import UNSET, UnsetType

from ledger.evidence.ball_sheet import BallRows
from ledger.evidence.dossier_format import BallSheet


class JudgedLine(Protocol):
    """How a verdict came out, and the fact that it rests on."""

    @property
    def outcome(self) -> str:
        """One of `OUTCOMES`."""
        ...

    @property
    def fact(self) -> str | UnsetType:
        """The address of the reading's fact, if it rests on one."""
        ...


class JudgedTable(Protocol):
    """The verdicts by one rulebook, of which that is known."""

    @property
    def rulebook(self) -> str:
        """SHA-256 of the rulebook, 64 hex digits."""
        ...

    @property
    def verdicts(self) -> Sequence[JudgedLine]:
        """Its verdicts in their order."""
        ...


class _Line(msgspec.Struct, frozen=True, gc=False):
    outcome: str
    fact: str | UnsetType = UNSET


class _Table(msgspec.Struct, frozen=True, gc=False):
    rulebook: str
    verdicts: tuple[_Line, ...]


class _Tables(msgspec.Struct, frozen=True):
    """The part of a sheet that events are told from."""

    tables: tuple[_Table, ...]


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
    def tables(self) -> Sequence[JudgedTable]:
        """The verdicts of the sheet, without the rest of it where that was not read yet."""
        return _tables.decode(self.raw).tables if self._sheet is None else self._sheet.tables
