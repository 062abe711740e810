"""Where balls are: their states, the shipments that they are away in, and when each of their readings was taken."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from typing import Any, NamedTuple

from ledger.line.reading_rows import Measured
from ledger.line.standing_readings import Source, sources_of
from ledger.store.dialect import quoted
from ledger.store.reader import Reader
from ledger.store.view_tables import VIEW_TABLES

_AS_RANGE = 16
"""A stretch of units is read as a whole where at most so many lie in it for each one wanted."""

_LISTED = 5_000
"""Units in one question by list."""

_LOTS = 20
"""Lots in one question."""


Whereabouts = tuple[str, str | None]
"""A ball's state, and the shipment that it left in and did not come back from."""


class ShipmentRow(NamedTuple):
    """A shipment: when it left, for what, and the fact that says so, whose entry names the consignee."""

    at_ms: int
    purpose: str
    fact: str


def whereabouts(reader: Reader, units: Sequence[str]) -> dict[str, Whereabouts]:
    """The whereabouts of units, given in their order. One query for a dense stretch, one for each 5,000 otherwise."""
    if not units:
        return {}
    columns, most = 'SELECT "unit", "state", "away" FROM "unit"', _AS_RANGE * len(units)
    wanted = set(units)
    rows = reader.transaction.rows(
        f'{columns} WHERE "unit" >= ? AND "unit" <= ? ORDER BY "unit" LIMIT {most + 1}', (units[0], units[-1])
    )
    if len(rows) > most:
        listed = f"{columns} WHERE {_any_of(reader, 'unit')}"
        rows = [row for chunk in _chunks(units) for row in reader.transaction.rows_of(listed, chunk)]
    return {unit: (state, away) for unit, state, away in rows if unit in wanted}


def count_whereabouts(reader: Reader, units: Sequence[str]) -> Counter[Whereabouts]:
    """How many of some units, given in their order, are where.

    No row a unit is read of a dense stretch of which all are wanted, or all are in one place.
    """
    if not units:
        return Counter()
    rows, most = reader.transaction.rows, _AS_RANGE * len(units)
    stretch, ends = '"unit" >= ? AND "unit" <= ?', (units[0], units[-1])
    [(there,)] = rows(f'SELECT count(*) FROM (SELECT 1 FROM "unit" WHERE {stretch} LIMIT {most + 1}) t', ends)
    if there <= most:
        text = f'SELECT "state", "away", count(*) FROM "unit" WHERE {stretch} GROUP BY "state", "away"'
        counts = {(state, away): count for state, away, count in rows(text, ends)}
        if there == len(units):
            return Counter(counts)
        if len(counts) == 1:
            return Counter(dict.fromkeys(counts, len(units)))
    return Counter(whereabouts(reader, units).values())


def shipment_rows(reader: Reader, shipments: Collection[str]) -> dict[str, ShipmentRow]:
    """What the book says of shipments, by id. One query."""
    text = (
        'SELECT "shipment", min("at_ms"), min("purpose"), min("shipped") FROM "shipped" '
        f'WHERE {_any_of(reader, "shipment")} GROUP BY "shipment"'
    )
    found = reader.transaction.rows_of(text, sorted(shipments))
    # The key of such a row is the address of the fact, then the unit.
    return {
        shipment: ShipmentRow(at_ms, purpose, ".".join(key.split(".", 2)[:2]))
        for shipment, at_ms, purpose, key in found
    }


def reading_sources(reader: Reader, units: Sequence[str]) -> dict[str, dict[str, Source]]:
    """When each quantity that stands was read, and by which fact, of some units."""
    table = VIEW_TABLES[Measured]
    text = table.select(_any_of(reader, "unit"))
    found: list[Any] = [
        table.to_row(row) for chunk in _chunks(units) for row in reader.transaction.rows_of(text, chunk)
    ]
    return {row.unit: sources_of(row) for row in found}


def _any_of(reader: Reader, column: str) -> str:
    return reader.transaction.dialect.any_of(quoted(column))


def _chunks(units: Sequence[str]) -> Iterator[Sequence[str]]:
    return (units[start : start + _LISTED] for start in range(0, len(units), _LISTED))


class UnitPlace(NamedTuple):
    """A ball of a lot: its place in it and its number where they are known, and where it is."""

    unit: str
    lot: str
    place: int | None
    serial: str | None
    where: Whereabouts


def units_of_lots(reader: Reader, lots: Sequence[str]) -> Iterator[UnitPlace]:
    """Every ball of some shell lots, in the order of the lots. One query for each few lots."""
    columns = 'SELECT "unit", "lot", "place", "serial", "state", "away" FROM "unit"'
    text = f'{columns} WHERE {_any_of(reader, "lot")} ORDER BY "lot", "unit"'
    for start in range(0, len(lots), _LOTS):
        for unit, lot, place, serial, state, away in reader.transaction.rows_of(text, lots[start : start + _LOTS]):
            yield UnitPlace(unit, lot, place, serial, (state, away))
