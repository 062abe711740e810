"""The standing readings of many balls as columns, in chunks: one pass over one view, for what judges populations.

What costs is the number of cells that come through the driver, each an object: so a ball's numbers come as one, packed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from ledger.line.standing_readings import gauges_in
from ledger.store.manner_texts import MannerTexts, manner_conditions
from ledger.store.packed_numbers import EMPTY
from ledger.store.reader import Reader
from ledger.store.readings_table import NUMBERS
from ledger.store.selections import Selection
from ledger.store.transaction import Transaction

if TYPE_CHECKING:
    import numpy as np

    Whole = np.ndarray[Any, np.dtype[np.int64]]

CHUNK = 8_192
"""Balls in a chunk: enough for whole columns to be worked on at once, few enough for its rows to stay in the cache."""

FURTHER = ("began_ms", "dated_ms", "first_ms", "last_ms", "coldest", "warmest")
"""Columns of numbers that may be asked for beside values; ``dated_ms``: of the engraving, or else of the beginning."""


class ReadingColumns(NamedTuple):
    """A chunk of balls, in unit order.

    ``manner``: of each ball, the place of its manner among ``manners``, the texts that occur.  ``numbers``: by column
    name, ``EMPTY`` where a row is empty; a column that is empty in the whole chunk may be left out.
    """

    units: Sequence[str]
    lots: Sequence[str]
    manners: Sequence[str]
    manner: Whole
    numbers: Mapping[str, Whole]

    @property
    def balls(self) -> int:
        """How many there are."""
        return len(self.units)

    def of_manner(self, told: Iterable[Any], kind: Any) -> Any:
        """For each ball what is ``told`` of its manner, in the order of ``manners``, as an array of a kind."""
        import numpy as np  # noqa: PLC0415  # costs start-up time, and only populations need it

        return np.fromiter(told, kind, len(self.manners))[self.manner]

    def subset(self, wanted: Any) -> ReadingColumns:
        """The balls where a mask holds."""
        if wanted.all():
            return self
        units, lots = ([cells[place] for place in wanted.nonzero()[0].tolist()] for cells in (self.units, self.lots))
        numbers = {name: cells[wanted] for name, cells in self.numbers.items()}
        return ReadingColumns(units, lots, self.manners, self.manner[wanted], numbers)


class ReadWith(NamedTuple):
    """Balls that have a reading of a gauge and any reading between two instants, both included; None: from or to ever.

    That holds for more balls than those whose reading of the gauge is of that time: look at each.
    """

    gauge: str
    from_ms: int | None = None
    to_ms: int | None = None


def reading_columns(
    reader: Reader,
    selection: Selection,
    quantities: Sequence[str],
    *,
    further: Sequence[str] = FURTHER,
    chunk: int = CHUNK,
    read_with: ReadWith | None = None,
) -> Iterator[ReadingColumns]:
    """The balls of a selection that were ever measured, with values and stated U of some quantities, and their class.

    One query a chunk, each from the unit after the last one on, and one more for its manners that did not occur before.
    """
    wanted = {"weight_class", *further, *quantities, *(f"{quantity}_u" for quantity in quantities)}
    conditions = [] if read_with is None else _read_with(reader.transaction, read_with)
    texts = MannerTexts(reader.transaction)
    left = selection.limit
    while left > 0:
        joins, condition, values = _selected(selection, "m", conditions)
        rows = reader.transaction.rows(
            f'SELECT m."unit", m."lot", m."manner", m."numbers" FROM "measured" m{joins} WHERE {condition} '
            f'ORDER BY m."unit" LIMIT {min(chunk, left)}',
            values,
        )
        if not rows:
            return
        # Not by zip: it makes an iterator a row, of so many the collector looks at everything each time.
        units, lots, manners, packed = ([row[place] for row in rows] for place in range(4))
        yield ReadingColumns(units, lots, *_manners(manners, texts), _numbers(packed, wanted))
        left -= len(rows)
        selection = selection._replace(after=units[-1])


def _manners(names: Sequence[str], texts: MannerTexts) -> tuple[list[str], Whole]:
    """The texts that occur, and the place of each ball's among them."""
    import numpy as np  # noqa: PLC0415  # see `ReadingColumns.of_manner`

    if names.count(names[0]) == len(names):
        return [texts.of(names[:1])[names[0]]], np.zeros(len(names), dtype=np.int64)
    places = {name: place for place, name in enumerate(dict.fromkeys(names))}
    known = texts.of(places)
    return [known[name] for name in places], np.fromiter(map(places.__getitem__, names), np.int64, len(names))


def _numbers(packed: Sequence[bytes], wanted: set[str]) -> dict[str, Whole]:
    """The wanted columns that some ball has."""
    import numpy as np  # noqa: PLC0415  # see `ReadingColumns.of_manner`

    if "dated_ms" not in wanted:
        return dict(NUMBERS.columns(packed, wanted))
    found = dict(NUMBERS.columns(packed, wanted | {"began_ms", "engraved_ms"}))
    began, engraved = found["began_ms"], found.pop("engraved_ms", None)
    if "began_ms" not in wanted:
        del found["began_ms"]
    found["dated_ms"] = began if engraved is None else np.where(engraved == EMPTY, began, engraved)
    return found


def _read_with(transaction: Transaction, asked: ReadWith) -> list[tuple[str, Any]]:
    """Conditions over ``m``, the readings, with their values."""
    within: list[tuple[str, Any]] = [('m."last_ms" >= ?', asked.from_ms), ('m."first_ms" <= ?', asked.to_ms)]
    return [*within, *manner_conditions(transaction, lambda text: asked.gauge in gauges_in(text))]


def unmeasured_units(reader: Reader, selection: Selection, measured: int | None = None) -> list[str]:
    """The balls of a selection that nothing was ever read of, in unit order.

    ``measured``: how many there are in it that something was read of, where that was counted: as many as there are balls
    mean that none is left, and counting these is far less work than looking for one.
    """
    selected = _selected(selection, "u")
    if measured is not None:
        text = f'SELECT count(*) FROM "unit" u{selected.joins} WHERE {selected.conditions}'
        if reader.transaction.rows(text, selected.values)[0][0] == measured:
            return []
    text = (
        f'SELECT u."unit" FROM "unit" u{selected.joins} LEFT JOIN "measured" m ON m."unit" = u."unit" '
        f'WHERE {selected.conditions} AND m."unit" IS NULL ORDER BY u."unit" LIMIT {int(selection.limit)}'
    )
    return [unit for (unit,) in reader.transaction.rows(text, selected.values)]


def middle_unit(reader: Reader, selection: Selection, over: int) -> str | None:
    """The unit up to which half the balls of a selection lie, where it is of more than ``over`` balls; else None.

    Two queries, over an index and half the units.
    """
    if selection.unit is not None or selection.serial is not None or selection.lot is not None:
        return None
    rows = reader.transaction.rows
    joins, conditions, values = _selected(selection, "u")
    [(count,)] = rows(f'SELECT count(*) FROM "unit" u{joins} WHERE {conditions}', values)
    if not over < count <= selection.limit:
        return None
    text = f'SELECT u."unit" FROM "unit" u{joins} WHERE {conditions} ORDER BY u."unit" LIMIT 1 OFFSET {count // 2}'
    return str(rows(text, values)[0][0])


def own_finishes(reader: Reader, units: Sequence[str]) -> dict[str, str]:
    """How balls were finished apart from their lots, by unit, of those that were. One query."""
    condition = reader.transaction.dialect.any_of('"unit"')
    text = f'SELECT "unit", "finish" FROM "unit" WHERE "finish" IS NOT NULL AND {condition}'
    return dict(reader.transaction.rows_of(text, list(units)))


class _Selected(NamedTuple):
    """Joins, conditions and their values."""

    joins: str
    conditions: str
    values: list[Any]


def _selected(selection: Selection, base: str, more: Sequence[tuple[str, Any]] = ()) -> _Selected:
    """``base`` names the row of the unit or of its readings, which begin the query."""
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
        (f'{base}."unit" <= ?', selection.until),
        *more,
    ]
    given = [(condition, value) for condition, value in asked if value is not None]
    conditions = " AND ".join(["1 = 1", *(condition for condition, _ in given)])
    return _Selected(joins, conditions, [value for _, value in given])
