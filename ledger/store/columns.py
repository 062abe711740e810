"""The standing readings of many balls as columns, in chunks: one pass over one view, for what judges populations."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from ledger.line.reading_rows import Measured
from ledger.store.reader import Reader
from ledger.store.selections import Selection
from ledger.store.view_tables import VIEW_TABLES

CHUNK = 2_048
"""Balls in a chunk: enough for whole columns to be worked on at once, few enough for its rows to stay in the cache."""

_TEXTS = ("unit", "lot", "manner")
_NUMBERS = ("weight_class", "began_ms", "engraved_ms", "first_ms", "last_ms", "coldest", "warmest")


class ReadingColumns(NamedTuple):
    """A chunk of balls, in unit order: ``texts`` and ``numbers`` by column name, the latter None where a row is empty."""

    balls: int
    texts: dict[str, tuple[str, ...]]
    numbers: dict[str, tuple[int | None, ...]]


class ReadWith(NamedTuple):
    """Balls that have a reading of a gauge and any reading between two instants, both included; None: from or to ever.

    That holds for more balls than those whose reading of the gauge is of that time: look at each.
    """

    gauge: str
    from_ms: int | None = None
    to_ms: int | None = None

    @property
    def conditions(self) -> list[tuple[str, Any]]:
        """Over ``m``, the readings, with their values."""
        # An id holds no character that LIKE reads otherwise but "_", which stands for itself too.
        asked = [('m."manner" LIKE ?', f'%"{self.gauge}"%'), ('m."last_ms" >= ?', self.from_ms)]
        return [*asked, ('m."first_ms" <= ?', self.to_ms)]


def reading_columns(
    reader: Reader,
    selection: Selection,
    quantities: Sequence[str],
    *,
    chunk: int = CHUNK,
    read_with: ReadWith | None = None,
) -> Iterator[ReadingColumns]:
    """The balls of a selection that were ever measured, with values and stated U of some quantities.

    One query a chunk, each from the unit after the last one on.
    """
    known = VIEW_TABLES[Measured].columns
    read = [name for quantity in quantities for name in (quantity, f"{quantity}_u") if name in known]
    numbers = [*_NUMBERS, *read]
    columns = [f'm."{name}"' for name in (*_TEXTS, *numbers)]
    left = selection.limit
    while left > 0:
        joins, conditions, values = _selected(selection, "m", [] if read_with is None else read_with.conditions)
        rows = reader.transaction.rows(
            f'SELECT {", ".join(columns)} FROM "measured" m{joins} WHERE {conditions} '
            f'ORDER BY m."unit" LIMIT {min(chunk, left)}',
            values,
        )
        if not rows:
            return
        cells = list(zip(*rows, strict=True))
        texts = dict(zip(_TEXTS, cells[: len(_TEXTS)], strict=True))
        yield ReadingColumns(len(rows), texts, dict(zip(numbers, cells[len(_TEXTS) :], strict=True)))
        left -= len(rows)
        selection = selection._replace(after=rows[-1][0])


def unmeasured_units(reader: Reader, selection: Selection) -> list[str]:
    """The balls of a selection that nothing was ever read of, in unit order."""
    counts = [reader.transaction.rows(f'SELECT count(*) FROM "{table}"')[0][0] for table in ("unit", "measured")]
    if counts[0] == counts[1]:
        return []
    joins, conditions, values = _selected(selection, "u")
    text = (
        f'SELECT u."unit" FROM "unit" u{joins} LEFT JOIN "measured" m ON m."unit" = u."unit" '
        f'WHERE {conditions} AND m."unit" IS NULL ORDER BY u."unit" LIMIT {int(selection.limit)}'
    )
    return [unit for (unit,) in reader.transaction.rows(text, values)]


def own_finishes(reader: Reader, units: Sequence[str]) -> dict[str, str]:
    """How balls were finished apart from their lots, by unit, of those that were. One query."""
    condition = reader.transaction.dialect.any_of('"unit"')
    text = f'SELECT "unit", "finish" FROM "unit" WHERE "finish" IS NOT NULL AND {condition}'
    return dict(reader.transaction.rows_of(text, list(units)))


def _selected(selection: Selection, base: str, more: Sequence[tuple[str, Any]] = ()) -> tuple[str, str, list[Any]]:
    """Joins, conditions and their values; ``base`` names the row of the unit or of its readings, which begin the query."""
    joins = ""
    if selection.model is not None:
        joins += f' JOIN "lot" l ON l."lot" = {base}."lot"'
    if base != "u" and (selection.state is not None or selection.serial is not None):
        joins += f' JOIN "unit" u ON u."unit" = {base}."unit"'
    asked: list[tuple[str, Any]] = [
        ('l."model" = ?', selection.model),
        (f'{base}."lot" = ?', selection.lot),
        (f'{base}."unit" = ?', selection.unit),
        ('u."serial" = ?', selection.serial),
        ('u."state" = ?', selection.state),
        (f'{base}."engraved_ms" >= ?', selection.from_ms),
        (f'{base}."engraved_ms" <= ?', selection.to_ms),
        (f'{base}."unit" > ?', selection.after),
        *more,
    ]
    given = [(condition, value) for condition, value in asked if value is not None]
    return joins, " AND ".join(["1 = 1", *(condition for condition, _ in given)]), [value for _, value in given]
