"""The standing readings of many balls as columns, in chunks: one pass over one view, for what judges populations.

What costs is the number of cells that come through the driver, each an object.  So what is the same in nearly every row
(how the ball was read, its class) comes as one small number, which names a *kind* of row known from before; and a stated
U comes for all where it is usual, else only for the balls that have one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from ledger.line.reading_rows import Measured
from ledger.line.standing_readings import parse_manner
from ledger.store.reader import Reader
from ledger.store.selections import Selection
from ledger.store.view_tables import VIEW_TABLES

CHUNK = 2_048
"""Balls in a chunk: enough for whole columns to be worked on at once, few enough for its rows to stay in the cache."""

FURTHER = ("began_ms", "dated_ms", "first_ms", "last_ms", "coldest", "warmest")
"""Columns of numbers that may be asked for beside values; ``dated_ms``: of the engraving, or else of the beginning."""

_KINDS = 8
"""Kinds that one query tells apart."""

_ODD = 8
"""Chunks are read by kinds while at most one ball in so many is of none; a U is usual that more than these have."""

_NAMES = ("unit", "lot")
_KIND = ("manner", "weight_class")
_NO_CLASS = -1


class ReadingColumns(NamedTuple):
    """A chunk of balls, in unit order: ``texts`` and ``numbers`` by column name, the latter None where a row is empty.

    A column of numbers that is empty in the whole chunk may be left out.
    """

    balls: int
    texts: Mapping[str, Sequence[str]]
    numbers: Mapping[str, Sequence[int | None]]


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
    further: Sequence[str] = FURTHER,
    chunk: int = CHUNK,
    read_with: ReadWith | None = None,
) -> Iterator[ReadingColumns]:
    """The balls of a selection that were ever measured, with values and stated U of some quantities.

    One query a chunk, each from the unit after the last one on, and one more for its balls of no known kind.
    """
    conditions = [] if read_with is None else read_with.conditions
    reading = _Reading(reader, quantities, further)
    left = selection.limit
    while left > 0:
        found = reading.chunk(_selected(selection, "m", conditions), min(chunk, left))
        if found is None:
            return
        yield found
        left -= found.balls
        selection = selection._replace(after=found.texts["unit"][-1])


class _Reading:
    """Reads one chunk after another: the first in full, the next by the kinds and the usual columns that were found."""

    def __init__(self, reader: Reader, quantities: Sequence[str], further: Sequence[str]) -> None:
        known = VIEW_TABLES[Measured].columns
        self._transaction = reader.transaction
        self._values = tuple(quantity for quantity in quantities if quantity in known)
        self._common = (*_NAMES, *further)
        self._stated = tuple(f"{quantity}_u" for quantity in self._values)
        self._usual: tuple[str, ...] = ()
        self._kinds: list[tuple[str, int | None]] = []
        self._by_kinds = False

    def chunk(self, selected: _Selected, limit: int) -> ReadingColumns | None:
        """The next balls of a selection; None where there are no more."""
        cells = self._read_by_kinds(selected, limit) if self._by_kinds else self._read_in_full(selected, limit)
        if not cells:
            return None
        texts = {name: cells.pop(name) for name in (*_NAMES, "manner")}
        return ReadingColumns(len(texts["unit"]), texts, cells)

    def _read_in_full(self, selected: _Selected, limit: int) -> dict[str, Any]:
        names = (*_KIND, *self._common, *self._values, *self._stated)
        cells = self._cells(names, _columns(names), selected, limit)
        if cells:
            self._learn(cells)
        return cells

    def _learn(self, cells: dict[str, Any]) -> None:
        """What the next chunks are expected to be like."""
        count = len(cells["unit"])
        stated = {name: count - cells[name].count(None) for name in self._stated}
        self._usual = tuple(name for name, found in stated.items() if found * _ODD > count)
        kinds = list(zip(*(cells[name] for name in _KIND), strict=True))
        self._kinds = [kind for kind, _ in Counter(kinds).most_common(_KINDS)]
        seldom = [cells[name] for name, found in stated.items() if found and name not in self._usual]
        known = frozenset(self._kinds)
        rows = zip(kinds, zip(*seldom, strict=True) if seldom else [()] * count, strict=True)
        odd = sum(kind not in known or any(one is not None for one in row) for kind, row in rows)
        self._by_kinds = odd * _ODD <= count

    def _read_by_kinds(self, selected: _Selected, limit: int) -> dict[str, Any]:
        read = {quantity for manner, _ in self._kinds for quantity in parse_manner(manner)}
        names = (*self._common, *(name for name in self._values if name in read), *self._usual)
        seldom = _columns([name for name in self._stated if name not in self._usual])
        odd = f"WHEN coalesce({', '.join(seldom)}, NULL) IS NOT NULL THEN 0 " if seldom else ""
        whens = " ".join(
            f'WHEN m."manner" = ? AND coalesce(m."weight_class", {_NO_CLASS}) = ? THEN {number}'
            for number in range(1, len(self._kinds) + 1)
        )
        asked = [part for manner, of in self._kinds for part in (manner, _NO_CLASS if of is None else of)]
        more = selected._replace(values=[*asked, *selected.values])
        cells = self._cells(("kind", *names), [f"CASE {odd}{whens} ELSE 0 END", *_columns(names)], more, limit)
        if cells:
            self._tell_kinds(cells)
        return cells

    def _tell_kinds(self, cells: dict[str, Any]) -> None:
        """Put what the kinds stand for in their place; the balls of none are asked for."""
        codes = cells.pop("kind")
        for name, told in zip(_KIND, zip(("", None), *self._kinds, strict=True), strict=True):
            cells[name] = list(map(told.__getitem__, codes))
        odd = [place for place, code in enumerate(codes) if not code] if 0 in codes else []
        if not odd:
            return
        names = (*_KIND, *self._values, *self._stated)
        columns = ", ".join(_columns(("unit", *names)))
        condition = self._transaction.dialect.any_of('m."unit"')
        text = f'SELECT {columns} FROM "measured" m WHERE {condition}'
        rows = {row[0]: row[1:] for row in self._transaction.rows_of(text, [cells["unit"][place] for place in odd])}
        filled = {name: list(cells.get(name, [None] * len(codes))) for name in names}
        for place in odd:
            for name, cell in zip(names, rows[cells["unit"][place]], strict=True):
                filled[name][place] = cell
        cells.update(filled)
        self._by_kinds = len(odd) * _ODD <= len(codes)

    def _cells(self, names: Sequence[str], columns: Sequence[str], selected: _Selected, limit: int) -> dict[str, Any]:
        rows = self._transaction.rows(
            f'SELECT {", ".join(columns)} FROM "measured" m{selected.joins} WHERE {selected.conditions} '
            f'ORDER BY m."unit" LIMIT {limit}',
            selected.values,
        )
        return dict(zip(names, zip(*rows, strict=True), strict=True)) if rows else {}


def _columns(names: Sequence[str]) -> list[str]:
    dated = 'coalesce(m."engraved_ms", m."began_ms")'
    return [dated if name == "dated_ms" else f'm."{name}"' for name in names]


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
