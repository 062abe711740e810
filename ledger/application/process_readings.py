"""The readings of one quantity that the figures of a process rest on: those that stand and may be used, in one unit.

A reading that its gauge does not let be used is left out and counted.  Readings in another unit than the figure's are
converted exactly and rounded to a millionth.  A reading is one ball's: the statistic that stands for it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from ledger.application.process_groups import By, Groups
from ledger.line.gauges import standing_at
from ledger.line.quantity import convert, find_quantity
from ledger.line.reading_rows import Calibration
from ledger.line.standing_readings import Manner, Source, parse_manner, parse_sources
from ledger.store.quantity_readings import StoredReading, quantity_readings
from ledger.store.reader import Reader
from ledger.store.selections import Selection, every_row


class Taken(NamedTuple):
    """A usable reading: ``value`` in whole millionths of the figure's unit, its group, and the row that it stands in."""

    at_ms: int
    fact: str
    value: int
    group: str
    row: StoredReading

    @property
    def label(self) -> str:
        """The ball, by the number that it bears, else by its unit id."""
        return self.row.serial or self.row.unit


class ProcessReadings:
    """The usable readings of a quantity in a selection, chunk by chunk, one pass; ``left_out`` counts the others.

    ``unit`` is the one asked for, or that of the first reading.
    """

    def __init__(  # what tells which readings, and how they are told apart
        self,
        reader: Reader,
        selection: Selection,
        quantity: str,
        *,
        by: By = "none",
        unit: str = "",
        weight_class: int | None = None,
    ) -> None:
        """``weight_class``: balls of this nominal class alone. Raises MalformedQuantity for an unknown quantity."""
        find_quantity(quantity)
        self._reader, self._selection, self.quantity = reader, selection, quantity
        self._groups = Groups(reader, by)
        self._usable = _Usable(every_row(reader.transaction, Calibration))
        self._factors: dict[str, Fraction] = {}
        self.unit = unit
        self.left_out = 0
        self._weight_class = weight_class
        self.statistics: Counter[str] = Counter()
        self.weight_classes: Counter[int | None] = Counter()

    def chunks(self) -> Iterator[list[Taken]]:
        """The readings, in unit order. Raises TooLarge where stations are asked for of too many."""
        for found in quantity_readings(self._reader, self._selection, self.quantity):
            rows = [row for row in found if self._weight_class in (None, row.weight_class)]
            kept = [one for one in map(self._read, rows) if self._usable.is_usable(one[1].gauge, one[2].at_ms)]
            self.left_out += len(rows) - len(kept)
            groups = self._groups.of([row for row, _, _ in kept], [source.fact for _, _, source in kept])
            yield [self._taken(row, how, source, group) for (row, how, source), group in zip(kept, groups, strict=True)]

    def _read(self, row: StoredReading) -> tuple[StoredReading, Manner, Source]:
        how = parse_manner(row.manner)
        return row, how[self.quantity], parse_sources(row.sources, how)[self.quantity]

    def _taken(self, row: StoredReading, how: Manner, source: Source, group: str) -> Taken:
        self.unit = self.unit or how.unit
        self.statistics[how.statistic] += 1
        self.weight_classes[row.weight_class] += 1
        value = row.value
        if how.unit != self.unit:
            factor = self._factors.get(how.unit)
            if factor is None:
                factor = self._factors[how.unit] = convert(Fraction(1), how.unit, self.unit)
            value = round(value * factor)
        return Taken(source.at_ms, source.fact, value, group, row)


class _Usable:
    """Whether a gauge's reading of an instant may be used, asked once for each stretch between its calibrations."""

    def __init__(self, calibrations: Sequence[Calibration]) -> None:
        self._of: dict[str, list[Calibration]] = {}
        for row in calibrations:
            self._of.setdefault(row.gauge, []).append(row)
        self._bounds: Mapping[str, list[int]] = {
            gauge: sorted({at for row in rows for at in (row.at_ms, row.due_ms)}) for gauge, rows in self._of.items()
        }
        self._known: dict[tuple[str, int, int], bool] = {}

    def is_usable(self, gauge: str, at_ms: int) -> bool:
        bounds = self._bounds.get(gauge, [])
        key = (gauge, bisect_left(bounds, at_ms), bisect_right(bounds, at_ms))
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = standing_at(self._of.get(gauge, ()), at_ms).usable
        return known
