"""By what readings are told apart: the mould set of the shell's pour, the station that read, the lot, or nothing.

A ball of a lot that went on from several, or whose mould set was changed at a count while its own place is not known,
came from one mould set or another, and is told as such ("MS-1 or MS-2").
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

from ledger.errors import TooLarge
from ledger.line.lineage import HEIRS
from ledger.line.lot_changes import LotChanged
from ledger.line.moulding import Pour
from ledger.line.record import Record
from ledger.line.rows import Body, Descent, Lot, LotStep
from ledger.store.quantity_readings import StoredReading
from ledger.store.reader import Reader
from ledger.store.selections import rows_with

By = Literal["mould", "station", "lot", "none"]

ALL = "all"
"""The one group where readings are not told apart."""

UNKNOWN = "not on record"

MOST_BY_STATION = 50_000
"""Readings whose station is looked up at most: it stands in the entry of each, and in no view."""


class _Change(NamedTuple):
    """After so many pieces, the lot was moulded in another set."""

    after: int
    to: str


class Groups:
    """Names the group of each reading. Remembers what it looked up of lots; one look at the store."""

    def __init__(self, reader: Reader, by: By) -> None:
        """``by``: what tells readings apart."""
        self._reader, self._by = reader, by
        self._sets: dict[str, tuple[str, ...]] = {}
        self._changes: dict[str, list[_Change]] = {}
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
        sets, changes = self._sets.get(one.lot, ()), self._changes.get(one.lot, [])
        if changes and one.place is not None:
            passed = [change.to for change in changes if change.after < one.place]
            sets = (passed[-1],) if passed else sets
        elif changes:
            sets = (*sets, *(change.to for change in changes))
        return " or ".join(dict.fromkeys(sets)) or UNKNOWN

    def _look_up(self, lots: set[str]) -> None:
        """The mould sets of lots not known yet: three queries a level of splits and mergers."""
        wanted = [lot for lot in lots if lot not in self._sets]
        if not wanted:
            return
        rows: list[Lot] = rows_with(self._reader, Lot, "lot", wanted)
        makers = self._records([row.address for row in rows])
        self._look_up_changes(wanted)
        heirs: list[str] = []
        for row in rows:
            maker = makers.get(row.address)
            if isinstance(maker, Pour):
                self._sets[row.lot] = (maker.mould_set,)
            else:
                self._sets[row.lot] = ()
                heirs.append(row.lot)
        edges: list[Descent] = [edge for edge in rows_with(self._reader, Descent, "child", heirs) if edge.part in HEIRS]
        self._look_up({edge.parent for edge in edges})
        for edge in edges:
            above = (*self._sets.get(edge.parent, ()), *(change.to for change in self._changes.get(edge.parent, ())))
            self._sets[edge.child] = tuple(dict.fromkeys((*self._sets[edge.child], *above)))

    def _look_up_changes(self, lots: Sequence[str]) -> None:
        steps: list[LotStep] = rows_with(self._reader, LotStep, "lot", lots)
        changed = [step.address for step in steps if step.step.startswith("changed mould-set")]
        for record in self._records(changed).values():
            if isinstance(record, LotChanged):
                self._changes.setdefault(record.lot, []).append(_Change(record.count, record.to))
        for changes in self._changes.values():
            changes.sort()
