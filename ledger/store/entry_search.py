"""Which entries: the newest below an index, those about a node, those that say a kind. Costs grow with the page, not the book."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

from ledger.store.archived_entries import filled
from ledger.store.transaction import Transaction

RARE = 2_000
"""Facts of a kind up to which they are all read from the index by kind; above it the newest entries are looked through."""

_NEWEST = 'SELECT "index", "bytes", "recorded_ms" FROM "entry" WHERE "index" < ? ORDER BY "index" DESC LIMIT ?'
_ABOUT = 'SELECT DISTINCT "index" FROM "about" WHERE "node" = ? AND "index" < ? ORDER BY "index" DESC LIMIT ?'
_ABOUT_OF_KIND = (
    'SELECT DISTINCT a."index" FROM "about" a JOIN "fact" f ON f."address" = a."address" '
    'WHERE a."node" = ? AND a."index" < ? AND f."kind" = ? ORDER BY a."index" DESC LIMIT ?'
)
_OF_KIND = 'SELECT "index" FROM "fact" WHERE "kind" = ? LIMIT ?'


def newest_entries(transaction: Transaction, below: int, limit: int) -> list[tuple[int, bytes, int]]:
    """Index, bytes and recorded milliseconds of the newest entries below an index, newest first."""
    return filled(transaction, transaction.rows(_NEWEST, (below, limit)))


def these_entries(transaction: Transaction, indexes: Collection[int]) -> list[tuple[int, bytes, int]]:
    """The same of these entries, newest first."""
    condition = transaction.dialect.any_of('"index"')
    rows = transaction.rows_of(
        f'SELECT "index", "bytes", "recorded_ms" FROM "entry" WHERE {condition} ORDER BY "index" DESC', list(indexes)
    )
    return filled(transaction, rows)


def indexes_about(
    transaction: Transaction, nodes: Sequence[str], below: int, limit: int, *, kind: str = ""
) -> list[int]:
    """The newest entries below an index that say something about a node, of one kind where one is given; newest first."""
    found: set[int] = set()
    for node in nodes:
        asked: tuple[Any, ...] = (node, below, kind, limit) if kind else (node, below, limit)
        found.update(index for (index,) in transaction.rows(_ABOUT_OF_KIND if kind else _ABOUT, asked))
    return sorted(found, reverse=True)[:limit]


def indexes_of_rare_kind(transaction: Transaction, kind: str, rare: int = RARE) -> list[int] | None:
    """Every entry that says a kind, newest first; None where there are more facts of it than ``rare``."""
    rows = transaction.rows(_OF_KIND, (kind, rare + 1))
    return None if len(rows) > rare else sorted({index for (index,) in rows}, reverse=True)


def names_of(transaction: Transaction, accounts: Collection[str]) -> dict[str, str | None]:
    """The names of those of the accounts that there are; None for one that was erased."""
    condition = transaction.dialect.any_of('"account"')
    found = transaction.rows_of(f'SELECT "account", "name" FROM "account" WHERE {condition}', sorted(accounts))
    return dict(found)
