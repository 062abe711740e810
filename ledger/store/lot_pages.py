"""What pages of lots list: lots of a stage by when they were begun, lots by how their id begins, and balls of a lot."""

from __future__ import annotations

from collections.abc import Sequence

from ledger.line.rows import Lot, Unit
from ledger.store.dialect import quoted
from ledger.store.reader import Reader
from ledger.store.view_tables import VIEW_TABLES

_LAST = "\U0010ffff"
"""After every character of an id, in the order of their bytes."""

_LOT, _UNIT = VIEW_TABLES[Lot], VIEW_TABLES[Unit]
_NEWEST = ' ORDER BY "began_ms" DESC, "lot" DESC LIMIT ?'
_OF_STAGE = _LOT.select('"stage" = ?') + _NEWEST
_OLDER = _LOT.select('"stage" = ? AND "began_ms" <= ? AND ("began_ms" < ? OR "lot" < ?)') + _NEWEST
_BEGINNING = _LOT.select('"lot" >= ? AND "lot" <= ?') + ' ORDER BY "lot" LIMIT ?'
_UNITS = _UNIT.select('"lot" = ? AND "unit" > ?') + ' ORDER BY "unit" LIMIT ?'
_UNITS_IN_STATE = _UNIT.select('"lot" = ? AND "state" = ? AND "unit" > ?') + ' ORDER BY "unit" LIMIT ?'


def lots_of_stage(reader: Reader, stage: str, limit: int, before: tuple[int, str] | None = None) -> list[Lot]:
    """Lots of a stage, the last begun first; those after ``before`` (``began_ms``, ``lot``) in that order.

    Cost: the page, from the index by stage and beginning.
    """
    if before is None:
        rows = reader.transaction.rows(_OF_STAGE, (stage, limit))
    else:
        rows = reader.transaction.rows(_OLDER, (stage, before[0], before[0], before[1], limit))
    return [_LOT.to_row(row) for row in rows]  # type: ignore[misc]  # the columns of its view


def lots_beginning(reader: Reader, text: str, limit: int) -> list[Lot]:
    """Lots whose id begins so, in the order of ids."""
    rows = reader.transaction.rows(_BEGINNING, (text, text + _LAST, limit))
    return [_LOT.to_row(row) for row in rows]  # type: ignore[misc]  # the columns of its view


def states_of_lots(reader: Reader, lots: Sequence[str]) -> dict[str, dict[str, int]]:
    """How many balls of each of some lots there are in each state: from one index alone."""
    of_lots = reader.transaction.dialect.any_of(quoted("lot"))
    text = f'SELECT "lot", "state", count(*) FROM "unit" WHERE {of_lots} GROUP BY 1, 2 ORDER BY 1, 2'
    found: dict[str, dict[str, int]] = {}
    for lot, state, count in reader.transaction.rows_of(text, list(lots)):
        found.setdefault(lot, {})[state] = int(count)
    return found


def units_of_lot(reader: Reader, lot: str, limit: int, *, after: str = "", state: str = "") -> list[Unit]:
    """The balls of a lot after a unit id, in the order of ids; in one state if asked. Cost: the balls of the lot."""
    asked = (_UNITS_IN_STATE, (lot, state, after, limit)) if state else (_UNITS, (lot, after, limit))
    return [_UNIT.to_row(row) for row in reader.transaction.rows(*asked)]  # type: ignore[misc]  # of its view
