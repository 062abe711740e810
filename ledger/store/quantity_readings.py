"""The standing readings of one quantity over a selection of balls, in chunks: for figures of the process."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from ledger.line.reading_rows import Measured
from ledger.store.reader import Reader
from ledger.store.selections import Selection, conditions_of
from ledger.store.view_tables import VIEW_TABLES

CHUNK = 4_096
"""Balls asked for at a time."""


class StoredReading(NamedTuple):
    """A ball's standing reading of the quantity: ``value`` in whole millionths of the unit that ``manner`` names.

    ``manner`` and ``sources`` are the texts of its row (see `ledger.line.standing_readings`); ``expanded`` is the U stated
    with it (k = 2), in the same millionths.
    """

    unit: str
    serial: str | None
    lot: str
    place: int | None
    weight_class: int | None
    began_ms: int
    engraved_ms: int | None
    value: int
    manner: str
    sources: str
    expanded: int | None = None


def quantity_readings(reader: Reader, selection: Selection, quantity: str) -> Iterator[list[StoredReading]]:
    """The readings of a quantity in unit order; none for a quantity that no ball is measured for. One query a chunk."""
    if quantity not in VIEW_TABLES[Measured].columns:
        return
    left = selection.limit
    while left > 0:
        conditions, values = conditions_of(selection)
        rows = reader.transaction.rows(
            'SELECT u."unit", u."serial", u."lot", u."place", u."weight_class", u."began_ms", u."engraved_ms", '
            f'm."{quantity}", m."manner", m."sources", m."{quantity}_u" '
            'FROM "unit" u JOIN "lot" l ON l."lot" = u."lot" JOIN "measured" m ON m."unit" = u."unit" '
            f'WHERE {" AND ".join(conditions)} AND m."{quantity}" IS NOT NULL '
            f'ORDER BY u."unit" LIMIT {min(CHUNK, left)}',
            values,
        )
        if not rows:
            return
        yield [StoredReading(*row) for row in rows]
        left -= len(rows)
        selection = selection._replace(after=rows[-1][0])
