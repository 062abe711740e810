"""Selections of balls with their lots and readings, and the edges between lots: set queries over the standing views."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any, NamedTuple

from ledger.line.fact import parse_address
from ledger.line.reading_rows import GaugeSet, GaugeUse, LotReading, Measured
from ledger.line.rows import Descent, Lot, Row, Unit
from ledger.store.dialect import quoted
from ledger.store.reader import Reader
from ledger.store.transaction import Transaction
from ledger.store.view_tables import VIEW_TABLES


class Selected(NamedTuple):
    """A ball of a selection with its lot and its readings."""

    unit: Unit
    lot: Lot
    measured: Measured | None


class Selection(NamedTuple):
    """Which balls: every condition that is given must hold. Instants of engraving in ms, both ends inclusive.

    ``after`` leaves out the balls up to that unit id: the next page of a long answer; ``until`` those beyond one.
    """

    model: str | None = None
    lot: str | None = None
    unit: str | None = None
    serial: str | None = None
    state: str | None = None
    from_ms: int | None = None
    to_ms: int | None = None
    after: str | None = None
    until: str | None = None
    limit: int = 10_000_000


_ALIASES: tuple[tuple[str, type[Row]], ...] = (("u", Unit), ("l", Lot), ("m", Measured))


def select_balls(transaction: Transaction, selection: Selection) -> list[Selected]:
    """The balls of a selection in unit order: one query, two joins."""
    conditions, values = conditions_of(selection)
    found = transaction.rows(_balls_text(" AND ".join(conditions), int(selection.limit)), values)
    return [_selected(row) for row in found]


def select_units(transaction: Transaction, units: Sequence[str]) -> list[Selected]:
    """These balls, in unit order."""
    found = transaction.rows_of(_balls_text(transaction.dialect.any_of('u."unit"')), list(units))
    return [_selected(row) for row in found]


def select_ids(transaction: Transaction, selection: Selection) -> list[str]:
    """The ids of the balls of a selection, in order: one query, one join."""
    conditions, values = conditions_of(selection)
    text = 'SELECT u."unit" FROM "unit" u JOIN "lot" l ON l."lot" = u."lot" WHERE '
    limit = int(selection.limit)
    return [
        row[0] for row in transaction.rows(f'{text}{" AND ".join(conditions)} ORDER BY u."unit" LIMIT {limit}', values)
    ]


def _balls_text(condition: str, limit: int | None = None) -> str:
    """The query of whole balls that meet a condition; its parameters are those of the condition."""
    names = [name for alias, row in _ALIASES for name in VIEW_TABLES[row].shown(alias)]
    return (
        f'SELECT {", ".join(names)} FROM "unit" u JOIN "lot" l ON l."lot" = u."lot" '
        f'LEFT JOIN "measured" m ON m."unit" = u."unit" WHERE {condition} '
        f'ORDER BY u."unit"{"" if limit is None else f" LIMIT {limit}"}'
    )


def _selected(row: Sequence[Any]) -> Selected:
    unit, lot, measured = (VIEW_TABLES[row] for _, row in _ALIASES)
    ends = len(unit.columns), len(unit.columns) + len(lot.columns)
    return Selected(
        unit.to_row(row[: ends[0]]),  # type: ignore[arg-type]  # the columns of its view
        lot.to_row(row[ends[0] : ends[1]]),  # type: ignore[arg-type]  # the columns of its view
        None if row[ends[1]] is None else measured.to_row(row[ends[1] :]),  # type: ignore[arg-type]  # of its view
    )


def conditions_of(selection: Selection) -> tuple[list[str], list[Any]]:
    """The conditions of a selection over ``u``, a unit, and ``l``, its lot, and their values."""
    asked: list[tuple[str, Any]] = [
        ('l."model" = ?', selection.model),
        ('u."lot" = ?', selection.lot),
        ('u."unit" = ?', selection.unit),
        ('u."serial" = ?', selection.serial),
        ('u."state" = ?', selection.state),
        ('u."engraved_ms" >= ?', selection.from_ms),
        ('u."engraved_ms" <= ?', selection.to_ms),
        ('u."unit" > ?', selection.after),
        ('u."unit" <= ?', selection.until),
    ]
    given = [(condition, value) for condition, value in asked if value is not None]
    return ["1 = 1", *(condition for condition, _ in given)], [value for _, value in given]


def rows_with(reader: Reader, row: type[Row], column: str, values: Collection[str]) -> list[Any]:
    """All rows whose column has one of the values, in one query."""
    return [found for rows in reader.rows_of(row, column, list(values)).values() for found in rows]


def addresses_about(transaction: Transaction, nodes: Sequence[str], without: Sequence[str] = ()) -> list[str]:
    """Addresses of the facts about nodes; of the kinds in ``without`` only what was corrected. One query."""
    node = transaction.dialect.any_of('a."node"')
    if not without:
        found = transaction.rows_of(f'SELECT a."address" FROM "about" a WHERE {node}', nodes)
    else:
        marks = ", ".join("?" for _ in without)
        found = transaction.rows(
            # Each fact is looked up by itself: a lot has thousands at most, and a join might go through all there are.
            f'SELECT a."address" FROM "about" a WHERE {node} AND (SELECT f."body" <> \'\' OR f."kind" NOT IN ({marks}) '
            'FROM "fact" f WHERE f."address" = a."address")',
            (transaction.dialect.list_value(nodes), *without),
        )
    return [address for (address,) in found]


def corrected_about(transaction: Transaction, nodes: Sequence[str]) -> list[str]:
    """Addresses of those facts about nodes that were corrected or withdrawn. One query."""
    node = transaction.dialect.any_of('a."node"')
    text = 'SELECT a."address" FROM "about" a JOIN "fact" f ON f."address" = a."address"'
    return [address for (address,) in transaction.rows_of(f"{text} WHERE {node} AND f.\"body\" <> ''", nodes)]


def every_row(
    transaction: Transaction, row: type[Row], condition: str = "1 = 1", values: Sequence[Any] = ()
) -> list[Any]:
    """All rows of a view that meet a condition. The condition is written by this project, its values may be asked."""
    table = VIEW_TABLES[row]
    order = ", ".join(map(quoted, table.view.key))
    return [table.to_row(found) for found in transaction.rows(f"{table.select(condition)} ORDER BY {order}", values)]


def count_by(transaction: Transaction, row: type[Row], column: str) -> dict[str, int]:
    """How many rows of a view there are for each value of a column."""
    name = quoted(column)
    text = f"SELECT {name}, count(*) FROM {quoted(VIEW_TABLES[row].name)} GROUP BY {name} ORDER BY {name}"
    return {str(value): int(count) for value, count in transaction.rows(text)}


def gauge_uses(reader: Reader, gauge: str) -> list[str]:
    """The address of every inspection in which a gauge was used, in order. Cost: the sets that it was in, and the answer."""
    sets = [row.used for row in reader.rows(GaugeSet, "gauge", gauge)]
    uses: list[GaugeUse] = rows_with(reader, GaugeUse, "used", sets)
    readings: list[LotReading] = reader.rows(LotReading, "gauge", gauge)
    return sorted({*(use.address for use in uses), *(reading.address for reading in readings)}, key=parse_address)


class StoredEdges:
    """The edges between lots, as a walk asks for them: one query a level."""

    def __init__(self, reader: Reader) -> None:
        """Read within the reader's look."""
        self._reader = reader

    def parents(self, lots: Collection[str]) -> list[Descent]:
        """The edges from these lots to what they are made from."""
        return rows_with(self._reader, Descent, "child", lots)

    def children(self, lots: Collection[str]) -> list[Descent]:
        """The edges to what is made from these lots."""
        return rows_with(self._reader, Descent, "parent", lots)
