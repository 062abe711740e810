"""Label addresses for balls that were just engraved: which GTIN a lot's balls carry, kept for a moment.

A registration needs the GTIN of its lot's model and nothing else of it.  Looked up, it is kept for two seconds and
forgotten as soon as this service is told anything but balls and readings, since a correction may change what a lot is.
A label itself is always made from the book as it stands.
"""

import time
from collections.abc import Callable, Iterable
from typing import NamedTuple

import msgspec

from ledger.line.allotting import SerialsAllotted
from ledger.line.balls import BallEngraved, UnitStarted, UnitWorked
from ledger.line.gs1 import format_link
from ledger.line.inspections import Inspection
from ledger.line.record import Record

KEPT_S = 2.0
_LEAVES_LOTS_ALONE = frozenset({BallEngraved, SerialsAllotted, UnitStarted, UnitWorked, Inspection})


class LabelAddress(msgspec.Struct, frozen=True, kw_only=True):
    """Where a ball's label leads (``link``), and where the label itself is to be had (``label``)."""

    unit: str
    serial: str
    link: str
    label: str


class _Kept(NamedTuple):
    gtin: str
    until_s: float


class Links:
    """Knows the GTIN of lots; ``look_up`` gives it for a lot, empty where there is none, and blocks for a moment."""

    def __init__(self, stem: str, look_up: Callable[[str], str], clock_s: Callable[[], float] = time.monotonic) -> None:
        """``stem`` is what label addresses begin with."""
        self._stem = stem
        self._look_up = look_up
        self._clock_s = clock_s
        self._kept: dict[str, _Kept] = {}

    def heard(self, records: Iterable[Record]) -> None:
        """Forget what is kept when something was said that may change a lot or a model."""
        if self._kept and any(type(record) not in _LEAVES_LOTS_ALONE for record in records):
            self._kept.clear()

    def of(self, records: Iterable[Record]) -> tuple[LabelAddress, ...]:
        """The label addresses of the balls engraved in these records, which stand in the book."""
        return tuple(
            LabelAddress(unit=one.unit, serial=one.serial, link=link, label=f"/balls/{one.unit}/label.svg")
            for one in records
            if isinstance(one, BallEngraved) and (link := self._link(one.lot, one.serial))
        )

    def _link(self, lot: str, serial: str) -> str:
        kept = self._kept.get(lot)
        now = self._clock_s()
        if kept is None or kept.until_s <= now:
            kept = _Kept(self._look_up(lot), now + KEPT_S)
            if len(self._kept) > 1_000:
                self._kept.clear()
            self._kept[lot] = kept
        return format_link(self._stem, kept.gtin, serial) if kept.gtin else ""
