"""The limits that readings of a process are held against: those of a named rulebook that are in force for each ball.

A limit here is one that a single ball must meet; limits on a lot's mean, a component or a model, bars and triggers are
not.  Where several hold at once the narrowest counts.  The weight class is the nominal one.  Of readings that fall under
different limits (two classes, or two editions' dates) a figure takes the limits of the newest, and says how many others
there are: choose one class or other days to see those.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

import msgspec

from ledger.application.judging import grounds_of, judged_rows
from ledger.application.process_readings import Taken
from ledger.conformity.from_rows import facts_from_rows
from ledger.conformity.method import UNSTATED
from ledger.conformity.requirement import Requirement
from ledger.conformity.rulebook import RulebookFile
from ledger.conformity.scope import Applies, standing
from ledger.line.quantity import convert, format_number
from ledger.store.reader import Reader
from ledger.store.selections import select_units

DAY_MS = 86_400_000

Combination = tuple[str, ...]
"""Ids of the requirements that hold together, in the rulebook's order."""


class LimitsSeen(msgspec.Struct, frozen=True, kw_only=True):
    """The limits of a figure, in its unit; ``says`` has each as the rulebook prints it, with its provenance."""

    rulebook: str
    edition: str
    digest: str
    requirements: tuple[str, ...]
    says: tuple[str, ...]
    low: str | None
    high: str | None
    strict: bool
    under_others: int = 0

    @property
    def ends(self) -> tuple[Fraction | None, Fraction | None]:
        """Both limits, exactly."""
        return tuple(None if text is None else Fraction(text) for text in (self.low, self.high))  # type: ignore[return-value]


class Limits:
    """Which limits of a rulebook hold for readings of a quantity. Remembers what it found; one look at the store."""

    def __init__(self, reader: Reader, edition: RulebookFile, quantity: str) -> None:
        """``edition`` is what the name asked for finds."""
        self._reader, self.edition = reader, edition
        self._ours: dict[str, Requirement] = {
            one.id: one
            for one in edition.rulebook.requirements
            if one.quantity == quantity and one.per == "ball" and one.effect == "limit"
        }
        self._known: dict[tuple[str, ...], Combination] = {}

    @property
    def unit(self) -> str:
        """The unit of the rulebook's first limit on the quantity; empty where it has none."""
        return next((one.unit for one in self._ours.values()), "")

    def of(self, readings: Sequence[Taken]) -> list[Combination]:
        """The limits in force for each reading's ball: seven queries a chunk at most, for balls of a sort not seen yet."""
        keys = [self._key(one) for one in readings]
        fresh = {key: one.row.unit for one, key in zip(readings, keys, strict=True) if key not in self._known}
        if fresh and self._ours:
            selected = select_units(self._reader.transaction, sorted(set(fresh.values())))
            grounds = grounds_of(self._reader, selected)
            by_unit = {one.unit.unit: judged_rows(one, grounds) for one in selected}
            for key, unit in fresh.items():
                facts = facts_from_rows(by_unit[unit], self.edition.rulebook)
                facts = msgspec.structs.replace(facts, readings={})
                self._known[key] = tuple(
                    id for id, one in self._ours.items() if standing(one, facts).applies is Applies.YES
                )
        return [self._known.get(key, ()) for key in keys]

    def _key(self, one: Taken) -> tuple[str, ...]:
        row = one.row
        if self.edition.rulebook.made_event == "release":
            return (row.unit,)
        at_ms = row.began_ms if row.engraved_ms is None else row.engraved_ms
        return (row.lot, str(row.weight_class), str(row.began_ms // DAY_MS), str(at_ms // DAY_MS))

    def seen(self, held: Combination, counts: Counter[Combination], unit: str) -> LimitsSeen:
        """The limits of a figure; ``counts`` are those of all its readings."""
        requirements = [self._ours[id] for id in held]
        lows = [convert(one.low, one.unit, unit) for one in requirements if one.low is not None]
        highs = [convert(one.high, one.unit, unit) for one in requirements if one.high is not None]
        return LimitsSeen(
            rulebook=self.edition.rulebook.id,
            edition=self.edition.rulebook.edition,
            digest=self.edition.digest,
            requirements=held,
            says=tuple(_said(one) for one in requirements),
            low=format_number(max(lows)) if lows else None,
            high=format_number(min(highs)) if highs else None,
            strict=any(one.strict for one in requirements),
            under_others=counts.total() - counts[held],
        )


def _said(requirement: Requirement) -> str:
    words = f"{requirement.id}: {requirement.limit_text} (limit read: {requirement.provenance})"
    if requirement.definition == UNSTATED:
        return f"{words}; its text does not say which thing of that name it means"
    return f"{words}; it means {requirement.definition.replace('_', ' ')}" if requirement.definition else words
