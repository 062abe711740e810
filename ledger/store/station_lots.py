"""What a station looks up: the open lots of a stage, and the last facts about a node. Each walks one index."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ledger.line.refold import ONCE
from ledger.line.rows import FactRow, Lot
from ledger.store.dialect import quoted
from ledger.store.transaction import Transaction
from ledger.store.view_tables import VIEW_TABLES

_LEFT = '("made" + "adjusted" - "used" - "lost")'
_LOT, _FACT = VIEW_TABLES[Lot], VIEW_TABLES[FactRow]
_OPEN = _LOT.select(f'"stage" = ? AND {_LEFT} > 0 AND NOT "closed"') + ' ORDER BY "ended_ms" DESC, "lot" DESC LIMIT ?'
_NEWEST = _LOT.select('"stage" = ?') + ' ORDER BY "ended_ms" DESC, "lot" DESC LIMIT 1'
_FACTS = ", ".join(f"f.{quoted(column)}" for column in _FACT.columns)
_LAST = (
    f'SELECT {_FACTS} FROM "about" a JOIN "fact" f ON f."address" = a."address" '
    'WHERE a."node" = ? ORDER BY a."index" DESC, a."position" DESC LIMIT ?'
)
_LATER = (
    'SELECT f."address" FROM "about" a JOIN "fact" f ON f."address" = a."address" '
    'WHERE a."node" = ? AND (a."index" > ? OR (a."index" = ? AND a."position" > ?)) AND f."standing" '
    'ORDER BY a."index", a."position" LIMIT ?'
)


def open_lots(transaction: Transaction, stage: str, most: int) -> list[Lot]:
    """The newest lots of a stage that are not closed and of which something is left. Cost: the lots of the stage."""
    return [_lot(row) for row in transaction.rows(_OPEN, (stage, most))]


def newest_lot(transaction: Transaction, stage: str) -> Lot | None:
    """The lot of a stage that was made last."""
    found = transaction.row(_NEWEST, (stage,))
    return None if found is None else _lot(found)


def last_facts(transaction: Transaction, node: str, most: int) -> list[FactRow]:
    """The last facts that are or were about a node, the newest first, withdrawn ones too."""
    found: list[FactRow] = []
    for one in (node, f"{ONCE}{node}"):
        found += [_FACT.to_row(row) for row in transaction.rows(_LAST, (one, most))]  # type: ignore[misc]  # of its view
    unlike = {row.address: row for row in found}
    return sorted(unlike.values(), key=lambda row: (-row.index, -row.position))[:most]


def facts_after(transaction: Transaction, node: str, place: tuple[int, int], most: int) -> list[str]:
    """The addresses of standing facts about a node that were entered after a place (index and position)."""
    index, position = place
    return [str(row[0]) for row in transaction.rows(_LATER, (node, index, index, position, most))]


def names_of(transaction: Transaction, accounts: Sequence[str]) -> dict[str, str | None]:
    """The name of each account; None where it was erased."""
    found = transaction.rows_of(
        f'SELECT "account", "name" FROM "account" WHERE {transaction.dialect.any_of(quoted("account"))}', accounts
    )
    return {str(account): name for account, name in found}


def _lot(row: Any) -> Lot:
    found: Lot = _LOT.to_row(row)  # type: ignore[assignment]  # the columns of its view
    return found
