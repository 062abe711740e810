"""By what readings are told apart: the mould set of the shell's pour, the station that read, the lot, or nothing.

A ball of a lot that went on from several, or whose mould set was changed at a count while its own place is not known,
came from one mould set or another, and is told as such ("MS-1 or MS-2").
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from ledger.errors import TooLarge
from ledger.line.lineage import HEIRS
from ledger.line.making_rows import Made
from ledger.line.makings import Making, makings_of
from ledger.line.record import Record
from ledger.line.rows import Body, Descent
from ledger.store.quantity_readings import StoredReading
from ledger.store.reader import Reader
from ledger.store.selections import rows_with
from ledger.tracing.parts import depth_first

By = Literal["mould", "station", "lot", "none"]

ALL = "all"
"""The one group where readings are not told apart."""

UNKNOWN = "not on record"

MOST_BY_STATION = 50_000
"""Readings whose station is looked up at most: it stands in the entry of each, and in no view."""


class Groups:
    """Names the group of each reading. Remembers what it looked up of lots; one look at the store."""

    def __init__(self, reader: Reader, by: By) -> None:
        """``by``: what tells readings apart."""
        self._reader, self._by = reader, by
        self._made: dict[str, list[Making]] = {}
        self._parents: dict[str, list[str]] = {}
        self._stations = 0

    def of(self, readings: Sequence[StoredReading], facts: Sequence[str]) -> list[str]:
        """The group of each reading; ``facts`` are the addresses of the inspections that gave them. Raises TooLarge."""
        if self._by == "lot":
            return [one.lot for one in readings]
        if self._by == "station":
            return self._stations_of(facts)
        if self._by == "mould":
            self._look_up({one.lot for one in readings})
            return [self._mould(one) for one in readings]
        return [ALL] * len(readings)

    def _stations_of(self, facts: Sequence[str]) -> list[str]:
        self._stations += len(facts)
        if self._stations > MOST_BY_STATION:
            raise TooLarge(
                "too many readings to look up their stations",
                expected=f"at most {MOST_BY_STATION}",
                where="by",
                mend="choose fewer days, one model or one lot",
            )
        records = self._records(facts)
        return [str(getattr(records.get(fact), "station", UNKNOWN)) for fact in facts]

    def _records(self, facts: Sequence[str]) -> dict[str, Record]:
        return {row.address: row.fact.record for row in rows_with(self._reader, Body, "address", facts)}

    def _mould(self, one: StoredReading) -> str:
        found = self._sets(one.lot, one.place)
        if one.place is None or not found:
            lots = depth_first([one.lot], lambda lot: reversed(self._parents.get(lot, ())))
            found = [name for lot in lots for name in self._sets(lot, one.place if lot == one.lot else None)]
        return " or ".join(dict.fromkeys(found)) or UNKNOWN

    def _sets(self, lot: str, place: int | None = None) -> list[str]:
        """The mould sets on record of a lot itself, for the piece at a place where it is known."""
        made = self._made.get(lot, ())
        return [one.mould_set for one in made if one.mould_set is not None and (place is None or one.has(place))]

    def _look_up(self, lots: set[str]) -> None:
        """The mould sets of lots not known yet: two queries a level of splits and mergers."""
        wanted = [lot for lot in lots if lot not in self._made]
        if not wanted:
            return
        rows = self._reader.rows_of(Made, "lot", wanted)
        self._made.update({lot: makings_of(rows.get(lot, ())) for lot in wanted})
        edges: list[Descent] = [
            edge for edge in rows_with(self._reader, Descent, "child", wanted) if edge.part in HEIRS
        ]
        for edge in edges:
            self._parents.setdefault(edge.child, []).append(edge.parent)
        self._look_up({edge.parent for edge in edges})
