"""What changes between two ways of judging the same balls: counts of outcomes, the limits concerned, a gauge's bias.

Only some of a rulebook's limits can come out otherwise when a date, an edition or a gauge changes.  Judging these alone
gives every change of verdict, and reads a part of the columns; what is counted is then the worst verdict on them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import msgspec

from ledger.conformity.column_frame import LAST, RANK
from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.outcome import OUTCOMES, Outcome, Verdict
from ledger.conformity.requirement import Requirement
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.words import OUTCOME_WORDS
from ledger.line.quantity import convert

if TYPE_CHECKING:
    import numpy as np

    Ranks = np.ndarray[Any, np.dtype[np.int8]]
    Whole = np.ndarray[Any, np.dtype[np.int64]]

Matrix = dict[str, dict[str, int]]
"""Outcome before to outcome after to the number of balls; every outcome is named, zero too."""

_SIDES = len(OUTCOMES)

_ALTERNATIVES = ("circumference", "diameter")
"""Of which one is judged where the other was measured."""


class Transitions:
    """Outcomes of the same balls before and after, counted."""

    def __init__(self) -> None:
        """Nothing is counted yet."""
        self._counts = Counter[int]()

    def take(self, before: Ranks, after: Ranks) -> None:
        """Count balls by the places in ``OUTCOMES`` of their outcomes."""
        import numpy as np  # noqa: PLC0415  # costs start-up time, and only populations need it

        pairs = before.astype(np.int64) * _SIDES + after
        counts = np.bincount(pairs)
        # Few pairs occur of those that there are.
        found = counts.nonzero()[0]
        self._counts.update(dict(zip(found.tolist(), counts[found].tolist(), strict=True)))

    def add(self, before: Outcome, after: Outcome) -> None:
        """Count one ball."""
        self._counts[RANK[before] * _SIDES + RANK[after]] += 1

    def merge(self, other: Transitions) -> None:
        """Add what another one counted."""
        self._counts.update(other._counts)

    @property
    def matrix(self) -> Matrix:
        """What was counted."""
        return {
            before: {after: self._counts[RANK[before] * _SIDES + RANK[after]] for after in OUTCOMES}
            for before in OUTCOMES
        }


class Foremost:
    """The ``keep`` balls of least key, of equal keys those that came first."""

    def __init__(self, keep: int) -> None:
        """``keep`` may be 0."""
        self._keep = keep
        self._kept: list[tuple[int, int, str]] = []
        self.seen = 0
        """Balls that were offered."""

    def take(self, keys: Whole, units: Sequence[str], places: Whole) -> None:
        """Offer the balls at ``places`` of ``units``, with a key each (see `change_keys`)."""
        import numpy as np  # noqa: PLC0415  # see `Transitions.take`

        least = np.argsort(keys, kind="stable")[: self._keep]
        found = [(int(keys[at]), self.seen + int(at), units[int(places[at])]) for at in least]
        self.seen += len(places)
        self._kept = sorted([*self._kept, *found])[: self._keep]

    def merge(self, other: Foremost) -> None:
        """Add what another one kept of balls that come after those offered so far."""
        later = [(key, self.seen + at, unit) for key, at, unit in other._kept]
        self._kept = sorted([*self._kept, *later])[: self._keep]
        self.seen += other.seen

    @property
    def units(self) -> list[str]:
        """Those kept, in their order."""
        return [unit for _, _, unit in self._kept]


def change_keys(before: Ranks, after: Ranks) -> Whole:
    """The order in which changes are told: the worst outcomes come first, and of these the steepest falls."""
    import numpy as np  # noqa: PLC0415  # see `Transitions.take`

    keys: Whole = after.astype(np.int64) * _SIDES + (_SIDES - 1 - before)
    return keys


def by_quantity(
    rulebook: Rulebook, each: Mapping[str, Ranks], quantities: Iterable[str], balls: int
) -> dict[str, Ranks]:
    """The worst outcome on each quantity, from those on each requirement; not applicable where there is no limit."""
    import numpy as np  # noqa: PLC0415  # see `Transitions.take`

    found = {quantity: np.full(balls, LAST, dtype=np.int8) for quantity in quantities}
    for requirement in rulebook.requirements:
        found[requirement.quantity] = np.minimum(found[requirement.quantity], each[requirement.id])
    return found


class Side(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The worst verdict on a quantity: under which requirement, the value and its margin in ``unit``, the limit's unit.

    ``requirement`` and ``limit`` are empty where no limit on the quantity was looked at.
    """

    outcome: Outcome
    requirement: str = ""
    limit: str = ""
    value: str | None = None
    margin: str | None = None
    unit: str = ""


class VerdictChange(msgspec.Struct, frozen=True, kw_only=True):
    """A quantity whose verdict is another one: before and after."""

    quantity: str
    before: Side
    after: Side


def verdict_changes(before: Iterable[Verdict], after: Iterable[Verdict]) -> tuple[VerdictChange, ...]:
    """The quantities of a ball that come out otherwise, the worst outcome first."""
    sides = _sides(before), _sides(after)
    none = Side(outcome="not_applicable")
    found = [
        VerdictChange(quantity=quantity, before=sides[0].get(quantity, none), after=sides[1].get(quantity, none))
        for quantity in dict.fromkeys([*sides[0], *sides[1]])
    ]
    changed = [one for one in found if one.before.outcome != one.after.outcome]
    return tuple(sorted(changed, key=lambda one: (RANK[one.after.outcome], one.quantity)))


def _sides(verdicts: Iterable[Verdict]) -> dict[str, Side]:
    """The worst verdict on each quantity; of several equally bad ones that with the least margin."""
    worst: dict[str, Verdict] = {}
    for verdict in verdicts:
        known = worst.get(verdict.quantity)
        if known is None or _badness(verdict) < _badness(known):
            worst[verdict.quantity] = verdict
    return {
        quantity: Side(
            outcome=one.outcome,
            requirement=one.requirement,
            limit=one.limit,
            value=one.value,
            margin=one.margin,
            unit=one.unit,
        )
        for quantity, one in worst.items()
    }


def _badness(verdict: Verdict) -> tuple[int, Decimal]:
    return RANK[verdict.outcome], Decimal("Infinity") if verdict.margin is None else Decimal(verdict.margin)


def limited_to(rulebook: Rulebook, quantities: Iterable[str]) -> Rulebook:
    """The same rulebook with its limits on these quantities alone."""
    wanted = frozenset(quantities)
    kept = tuple(one for one in rulebook.requirements if one.quantity in wanted)
    return msgspec.structs.replace(rulebook, requirement=kept)


def read_for(rulebook: Rulebook) -> tuple[str, ...]:
    """The quantities whose readings decide under a rulebook: those limited, and those that bear on them."""
    found = dict.fromkeys(one.quantity for one in rulebook.requirements)
    if any(one.scope.class_basis == "weighed" for one in rulebook.requirements):
        found["mass"] = None
    if "differential" in found:
        found |= dict.fromkeys(("rg_low", "rg_high"))
    return tuple(found)


def concerned_by_rules(before: Rulebook, after: Rulebook, *, other_dates: bool = False) -> tuple[str, ...]:
    """The quantities on which a ball may come out otherwise under two rulebooks.

    ``other_dates``: the dates that choose a limit are not the same either.
    """
    deciding = [_deciding(one) for one in (before, after)]
    quantities = dict.fromkeys(one.quantity for book in (before, after) for one in book.requirements)
    found = {
        quantity
        for quantity in quantities
        if deciding[0].get(quantity) != deciding[1].get(quantity)
        or (other_dates and any(_is_dated(one) for book in deciding for one in book.get(quantity, ())))
    }
    return tuple(quantity for quantity in quantities if quantity in _with_alternatives(found))


def concerned_by_readings(rulebook: Rulebook, quantities: Iterable[str]) -> tuple[str, ...]:
    """The quantities on which a ball may come out otherwise when readings of some quantities do."""
    found = set(quantities)
    if found & {"rg_low", "rg_high"}:
        found.add("differential")
    if "mass" in found:
        found |= {one.quantity for one in rulebook.requirements if one.scope.class_basis == "weighed"}
    limited = dict.fromkeys(one.quantity for one in rulebook.requirements)
    return tuple(quantity for quantity in limited if quantity in _with_alternatives(found))


def _with_alternatives(quantities: set[str]) -> set[str]:
    return quantities.union(_ALTERNATIVES) if quantities.intersection(_ALTERNATIVES) else quantities


def _deciding(rulebook: Rulebook) -> dict[str, frozenset[Requirement]]:
    """What decides of each quantity's limits: not their names, nor where they were read."""
    found: dict[str, set[Requirement]] = {}
    for one in rulebook.requirements:
        plain = msgspec.structs.replace(one, id="", row="", source="", section="", note="", provenance="read")
        found.setdefault(one.quantity, set()).add(plain)
    return {quantity: frozenset(limits) for quantity, limits in found.items()}


def _is_dated(requirement: Requirement) -> bool:
    dated = requirement.effective_from is not None or requirement.effective_to is not None
    return dated or requirement.clock == "event"


def bias_shift(bias_micro: int, of_unit: str, unit: str, statistic: str) -> int:
    """What a gauge's bias added to a value, in millionths of the value's ``unit``; nothing to a range of readings."""
    if statistic == "range":
        return 0
    return bias_micro if unit == of_unit else round(convert(Fraction(bias_micro), of_unit, unit))


def without_bias(facts: BallFacts, gauge: str, bias_micro: int, of_unit: str) -> BallFacts:
    """A ball with a gauge's bias taken out of every value that it read; their uncertainties stay."""
    readings = {
        quantity: _less_bias(reading, bias_micro, of_unit) if reading.gauge == gauge else reading
        for quantity, reading in facts.readings.items()
    }
    return msgspec.structs.replace(facts, readings=readings)


def _less_bias(reading: Measured, bias_micro: int, of_unit: str) -> Measured:
    shift = bias_shift(bias_micro, of_unit, reading.unit, reading.statistic)
    return msgspec.structs.replace(reading, value_scaled=reading.value_scaled - shift)


def transition_lines(matrix: Matrix) -> list[str]:
    """The changes that a matrix counts, in words, the worst outcome after first; none where nothing changes."""
    return [
        f"{matrix[before][after]} from {OUTCOME_WORDS[before]} to {OUTCOME_WORDS[after]}"
        for after in OUTCOMES
        for before in reversed(OUTCOMES)
        if before != after and matrix[before][after]
    ]
