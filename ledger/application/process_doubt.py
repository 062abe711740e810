"""How well the readings of a process are known: the uncertainty of each, by its gauge, and what stands for a group.

A figure of a group takes the largest standard uncertainty of its readings, so that no gauge's better readings hide
another's, and says which gauge it is.  One reading without a known uncertainty leaves the group without one.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from typing import Any, NamedTuple

from ledger.application.process_readings import Taken
from ledger.conformity.reading_uncertainty import GaugeGround, reading_uncertainty, scatter_share
from ledger.line.gauge_studied import newest_study
from ledger.line.gauges import calibration_at
from ledger.line.quantity import SCALE, convert
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy
from ledger.line.standing_readings import Manner, parse_manner
from ledger.store.reader import Reader
from ledger.store.selections import every_row


class Doubt(NamedTuple):
    """Of one reading: its gauge, standard uncertainty, and the part of it that differs from reading to reading.

    In the unit of the figure; None where it is not known.  ``said``: where it comes from, in words.
    """

    gauge: str
    u: float | None
    scatter: float | None
    said: str


class Doubts:
    """Tells the doubt of each reading of a quantity. Asks three small views once, and nothing for a reading."""

    def __init__(self, reader: Reader, quantity: str) -> None:
        """Look up the plant's gauges, their calibrations and studies."""
        self._quantity = quantity
        self._gauges: dict[str, Gauge] = {row.gauge: row for row in every_row(reader.transaction, Gauge)}
        self._calibrations = _by_gauge(every_row(reader.transaction, Calibration))
        self._studies = _by_gauge(every_row(reader.transaction, GaugeStudy))
        self._turns = {
            gauge: sorted(row.at_ms for row in rows if row.kind == "calibration")
            for gauge, rows in self._calibrations.items()
        }
        self._known: dict[tuple[Manner, int | None, int, str], Doubt] = {}

    def of(self, one: Taken, unit: str) -> Doubt:
        """The doubt of a reading, in ``unit``."""
        how = parse_manner(one.row.manner)[self._quantity]
        # Between two calibrations nothing of it changes.
        stretch = bisect_right(self._turns.get(how.gauge, ()), one.at_ms)
        key = (how, one.row.expanded, stretch, unit)
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = self._doubt(how, one, unit)
        return known

    def _doubt(self, how: Manner, one: Taken, unit: str) -> Doubt:
        ground = GaugeGround(
            self._gauges.get(how.gauge),
            calibration_at(self._calibrations.get(how.gauge, ()), one.at_ms),
            newest_study(self._studies.get(how.gauge, ())),
        )
        found = reading_uncertainty(how, one.row.expanded, ground)
        factor = float(convert(Fraction(1), how.unit, unit)) / SCALE
        scatter = None if found.repeat_scaled is None else found.repeat_scaled * math.sqrt(scatter_share(how))
        return Doubt(
            how.gauge,
            None if found.u_scaled is None else found.u_scaled * factor,
            None if scatter is None else scatter * factor,
            found.said,
        )


def _by_gauge(rows: Sequence[Calibration] | Sequence[GaugeStudy]) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = {}
    for row in rows:
        found.setdefault(row.gauge, []).append(row)
    return found


class GroupDoubt:
    """The doubt of a group's readings, taken one by one; memory grows with its gauges alone."""

    def __init__(self) -> None:
        """Of no reading yet."""
        self.largest: dict[str, Doubt] = {}
        self.unknown: Counter[str] = Counter()
        self._count = 0
        self._variance: float | None = 0.0

    def take(self, doubt: Doubt) -> None:
        """Count a reading in."""
        self._count += 1
        if doubt.u is None:
            self.unknown[doubt.gauge] += 1
        else:
            before = self.largest.get(doubt.gauge)
            if before is None or (before.u or 0.0) < doubt.u:
                self.largest[doubt.gauge] = doubt
        if doubt.scatter is None or self._variance is None:
            self._variance = None
        else:
            self._variance += doubt.scatter**2

    @property
    def worst(self) -> Doubt | None:
        """The reading with the largest u; None where that of one is not known."""
        if self.unknown or not self.largest:
            return None
        return max(self.largest.values(), key=lambda one: (one.u or 0.0, one.gauge))

    @property
    def scatter(self) -> float | None:
        """What repeating adds to the readings' standard deviation, root mean square; None where one's is not known."""
        return None if self._variance is None or not self._count else math.sqrt(self._variance / self._count)
