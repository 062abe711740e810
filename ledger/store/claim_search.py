"""Claims by state, failure mode, model, market and day, in the order in which they were opened, a page at a time."""

from __future__ import annotations

from typing import Any, NamedTuple

from ledger.line.claim_rows import Claim
from ledger.store.reader import Reader
from ledger.store.view_tables import VIEW_TABLES


class ClaimFilter(NamedTuple):
    """Which claims: every condition that is given must hold.

    ``model``: of a ball of the model, or of a number that such a ball
    bears or bore. ``since_ms``: opened then or later.
    """

    states: tuple[str, ...] = ()
    mode: str | None = None
    model: str | None = None
    market: str | None = None
    since_ms: int | None = None


_OF_MODEL = (
    '((c."unit" IS NOT NULL AND EXISTS (SELECT 1 FROM "unit" u JOIN "lot" l ON l."lot" = u."lot" '
    'WHERE u."unit" = c."unit" AND l."model" = ?)) OR (c."unit" IS NULL AND EXISTS (SELECT 1 FROM "serial" s '
    'JOIN "unit" u ON u."unit" = s."unit" JOIN "lot" l ON l."lot" = u."lot" '
    'WHERE s."serial" = c."serial" AND l."model" = ?)))'
)


def search_claims(reader: Reader, wanted: ClaimFilter, after: Claim | None, limit: int) -> list[Claim]:
    """The claims of a filter, oldest first, from the one after ``after`` on; at most ``limit``. One query."""
    table = VIEW_TABLES[Claim]
    conditions, values = _conditions(wanted)
    if after is not None:
        conditions.append('c."opened_ms" >= ? AND (c."opened_ms" > ? OR c."claim" > ?)')
        values += [after.opened_ms, after.opened_ms, after.claim]
    columns = ", ".join(f'c."{name}"' for name in table.columns)
    rows = reader.transaction.rows(
        f'SELECT {columns} FROM "claim" c WHERE {" AND ".join(conditions)} '
        f'ORDER BY c."opened_ms", c."claim" LIMIT {int(limit)}',
        values,
    )
    return [table.to_row(row) for row in rows]  # type: ignore[misc]  # the rows of its view


def _conditions(wanted: ClaimFilter) -> tuple[list[str], list[Any]]:
    conditions, values = ["1 = 1"], list[Any]()
    if wanted.states:
        conditions.append(f'c."state" IN ({", ".join("?" for _ in wanted.states)})')
        values += wanted.states
    asked = [
        ('c."mode" = ?', wanted.mode),
        ('c."market" = ?', wanted.market),
        ('c."opened_ms" >= ?', wanted.since_ms),
    ]
    for condition, value in asked:
        if value is not None:
            conditions.append(condition)
            values.append(value)
    if wanted.model is not None:
        conditions.append(_OF_MODEL)
        values += [wanted.model, wanted.model]
    return conditions, values
