"""Numbers looked up among all that balls bear or bore: many at once, by their first places, and by model.

A look-up by many numbers costs an index step each.  Every other one reads at most ``MOST_READ`` rows of an index, or
says that there are more: none of them reads a table from its beginning to its end.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import islice
from typing import Any, NamedTuple

from ledger.line.rows import SerialRow
from ledger.store.dialect import quoted
from ledger.store.reader import Reader
from ledger.store.view_tables import VIEW_TABLES

MOST_READ = 200_000
"""Rows of an index that one search reads."""

_LISTED = 5_000
"""Numbers in one question."""

_AFTER_ANY = "\x7f"
"""Comes after every character that a label can carry."""


class Shape(NamedTuple):
    """The places of a number, empty for one that may be anything; with ``open`` more places may follow."""

    places: tuple[str, ...]
    open: bool = False

    @property
    def prefix(self) -> str:
        """The places before the first that may be anything."""
        return "".join(self.places[: self.places.index("")] if "" in self.places else self.places)


class Between(NamedTuple):
    """A stretch of the balls of some numbers: every condition that is given must hold. Both ends are inclusive.

    ``from_ms`` and ``to_ms`` are instants of making: of engraving, or of turning on where the ball bears no number yet.
    """

    model: str | None = None
    weight_class: int | None = None
    from_ms: int | None = None
    to_ms: int | None = None

    def admits(self, model: str | None, weight_class: int | None, made_ms: int) -> bool:
        """Whether a ball is one of them."""
        return (
            (self.model is None or model == self.model)
            and (self.weight_class is None or weight_class == self.weight_class)
            and (self.from_ms is None or made_ms >= self.from_ms)
            and (self.to_ms is None or made_ms <= self.to_ms)
        )


class Bearings(NamedTuple):
    """Rows in the order of their numbers, and how many there are; fewer rows than that where more were not asked for."""

    rows: tuple[SerialRow, ...]
    total: int


def bearings_of(reader: Reader, serials: Iterable[str]) -> list[SerialRow]:
    """Every bearing of any of the numbers. One query for each 5,000."""
    text = VIEW_TABLES[SerialRow].select(reader.transaction.dialect.any_of('"serial"'))
    waiting, found = iter(serials), list[SerialRow]()
    while chunk := list(islice(waiting, _LISTED)):
        found += map(_row, reader.transaction.rows_of(text, chunk))
    return found


def is_within_reach(reader: Reader, shape: Shape) -> bool:
    """Whether so few numbers begin as the shape does that all can be read."""
    return _count(reader, f'FROM "serial" s WHERE {_RANGE}', _range(shape.prefix)) <= MOST_READ


def bearings_like(reader: Reader, shape: Shape, between: Between, limit: int) -> Bearings:
    """The bearings whose number has a shape, of balls in a stretch. Cost: all that begin as the shape does."""
    conditions, values = _shaped(shape)
    return _bearings(reader, [_RANGE, *conditions], [*_range(shape.prefix), *values], between, limit)


def bearings_between(reader: Reader, first: str, last: str, between: Between, limit: int) -> Bearings | None:
    """The bearings with a number from ``first`` to ``last`` in byte order; None where more than `MOST_READ` lie there."""
    values = (first, last)
    condition = 's."serial" >= ? AND s."serial" <= ?'
    if _count(reader, f'FROM "serial" s WHERE {condition}', values) > MOST_READ:
        return None
    return _bearings(reader, [condition], list(values), between, limit)


def bearings_of_model(reader: Reader, shape: Shape, between: Between, limit: int) -> Bearings | None:
    """The same as `bearings_like`, by way of the balls of a model that were made in a stretch; None where they are too many.

    ``between.model`` is given. A lot that was poured after the stretch is not looked at.
    """
    poured = 'l."model" = ?' + ("" if between.to_ms is None else ' AND l."began_ms" <= ?')
    values: list[Any] = [between.model, *([] if between.to_ms is None else [between.to_ms])]
    if _count(reader, f'FROM "lot" l JOIN "unit" u ON u."lot" = l."lot" WHERE {poured}', values) > MOST_READ:
        return None
    conditions, shaped = _shaped(shape)
    return _bearings(reader, [poured, *conditions], [*values, *shaped], between, limit)


def former_rows(reader: Reader, units: Sequence[str]) -> dict[str, list[SerialRow]]:
    """Every number of some balls, oldest first. One query."""
    found = reader.rows_of(SerialRow, "unit", list(units))
    return {unit: sorted(rows, key=lambda row: (row.since_ms, row.serial_row)) for unit, rows in found.items()}


_RANGE = 's."serial" >= ? AND s."serial" < ?'
_MADE = 'coalesce(u."engraved_ms", u."began_ms")'


def _range(prefix: str) -> list[str]:
    return [prefix, prefix + _AFTER_ANY]


def _shaped(shape: Shape) -> tuple[list[str], list[Any]]:
    """Conditions and values: the length, and each place that was read, compared as it is on both databases."""
    read = [(place, character) for place, character in enumerate(shape.places, 1) if character]
    conditions = [f'length(s."serial") {">=" if shape.open else "="} {len(shape.places)}']
    conditions += [f'substr(s."serial", {place}, 1) = ?' for place, _ in read]
    return conditions, [character for _, character in read]


def _stretch(between: Between) -> list[tuple[str, Any]]:
    asked: list[tuple[str, Any]] = [
        ('l."model" = ?', between.model),
        ('u."weight_class" = ?', between.weight_class),
        (f"{_MADE} >= ?", between.from_ms),
        (f"{_MADE} <= ?", between.to_ms),
    ]
    return [(condition, value) for condition, value in asked if value is not None]


def _bearings(
    reader: Reader, conditions: Sequence[str], values: Sequence[Any], between: Between, limit: int
) -> Bearings:
    stretch = _stretch(between)
    where = " AND ".join([*conditions, *(condition for condition, _ in stretch)])
    asked = [*values, *(value for _, value in stretch)]
    joined = f'FROM "serial" s JOIN "unit" u ON u."unit" = s."unit" JOIN "lot" l ON l."lot" = u."lot" WHERE {where}'
    columns = ", ".join(f"s.{quoted(name)}" for name in VIEW_TABLES[SerialRow].columns)
    order = f'ORDER BY s."serial", s."since_ms", s."serial_row" LIMIT {int(limit)}'
    rows = reader.transaction.rows(f"SELECT {columns} {joined} {order}", asked)
    count = len(rows)
    if count == limit:
        found = reader.transaction.row(f"SELECT count(*) {joined}", asked)
        count = 0 if found is None else int(found[0])
    return Bearings(tuple(map(_row, rows)), count)


def _count(reader: Reader, of: str, values: Sequence[Any]) -> int:
    """How many rows there are, counted no further than one more than `MOST_READ`."""
    found = reader.transaction.row(f"SELECT count(*) FROM (SELECT 1 {of} LIMIT {MOST_READ + 1}) AS counted", values)
    return 0 if found is None else int(found[0])


def _row(values: Sequence[Any]) -> SerialRow:
    return VIEW_TABLES[SerialRow].to_row(values)  # type: ignore[return-value]  # the columns of its view
