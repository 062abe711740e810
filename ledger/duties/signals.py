"""Once a week: look whether claims point at a lot, a mould, a station or a week, and open a case where they do.

A look is as of the last Monday, 00:00 UTC, so that it is the same look however often and wherever the duty runs; its rate
of false signals is told in `ledger.warranty.lot_signals`.  A case is opened once for a member, be it closed since or opened by
a person, and holds nothing.  A signal that went away closes no case: that is for people to decide.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import msgspec

from ledger.book.instant import Instant, format_instant
from ledger.line.case_rows import Case
from ledger.line.cases import CaseOpened
from ledger.line.submission import Submission
from ledger.line.suspects import Suspect
from ledger.store.exposures import read_exposure
from ledger.store.reader import Reader
from ledger.store.selections import every_row
from ledger.warranty.exposure import DAY_MS, spell_columns
from ledger.warranty.lot_signals import LEAST_CLAIMS, Q, Roll, look_at
from ledger.warranty.members import Family, family_members
from ledger.warranty.signal_suspects import case_id, suspect_for

WEEK_MS = 7 * DAY_MS

_MONDAY_MS = 4 * DAY_MS
"""1970-01-05 was a Monday."""


class _Found(NamedTuple):
    family: Family
    name: str
    suspect: Suspect


def last_monday_ms(now_ms: int) -> int:
    """The instant at which the running week began, in UTC."""
    return now_ms - (now_ms - _MONDAY_MS) % WEEK_MS


class SignalLooks:
    """The weekly look. What it finds stays due until the book has a case on it."""

    def __init__(self, q: float = Q) -> None:
        """``q``: see `ledger.warranty.lot_signals`."""
        self._q = q
        self._looked_ms: int | None = None
        self._found: list[_Found] = []

    def due(self, reader: Reader, now_ms: int) -> Iterator[Submission]:
        """Cases to open, with keys that make each said once. Cost: once a week one pass over the shipments."""
        monday = last_monday_ms(now_ms)
        if self._looked_ms != monday:
            self._found = _look(reader, monday, self._q)
            self._looked_ms = monday
        if not self._found:
            return
        cases: list[Case] = every_row(reader.transaction, Case)
        known = {msgspec.json.decode(case.suspect, type=Suspect) for case in cases}
        self._found = [found for found in self._found if found.suspect not in known]
        for found in self._found:
            record = CaseOpened(
                at=format_instant(Instant(now_ms, 0)),
                case=case_id(found.family, found.name),
                why="signal",
                reason=f"claims-by-{found.family}",
                suspect=found.suspect,
            )
            yield Submission(key=f"signal-{record.case}", records=(record,))


def _look(reader: Reader, before_ms: int, q: float) -> list[_Found]:
    exposure = read_exposure(reader, before_ms)
    if len(exposure.claims) < LEAST_CLAIMS:
        return []
    ground = exposure.ground
    looks = look_at(Roll(family_members(ground), ground.cohorts), spell_columns(exposure.spells), q)
    return [
        _Found(one.family, one.name, suspect_for(one.family, one.name))
        for look in looks.values()
        for one in look.members
        if one.stands == "signal"
    ]
