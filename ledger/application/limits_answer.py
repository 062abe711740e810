"""A population against its limits, in one look: how it comes out, and the distribution of one quantity with its limits.

The figures are those of `conformity_of` and `capability_of`; beside them stand the bins of the readings and the guard
bands, as a picture needs them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

import msgspec
from msgspec import UNSET, UnsetType

from ledger.application.adopted_files import find_rulebook
from ledger.application.conformity_query import Conformity, conformity_of
from ledger.application.process_capability import CapabilityFigures, GroupCapability, capability_with_values
from ledger.application.process_figures import FiguresAsked
from ledger.application.process_risk import band_of, house_rule
from ledger.conformity.bins import bin_readings
from ledger.conformity.decision import rule_of
from ledger.conformity.house import Rule
from ledger.conformity.requirement import DecisionRule, Requirement
from ledger.errors import NotFound, TooLarge
from ledger.line.rows import Unit
from ledger.store.reader import Reader
from ledger.store.selections import Selection, rows_with, select_units

PICTURES = 12
"""Groups of which one answer has the bins: the first by name."""


class Bins(msgspec.Struct, frozen=True, kw_only=True):
    """A histogram in the unit of the figure; ``outside``: how many of each bin lie outside the limits."""

    start: float
    width: float
    counts: tuple[int, ...]
    outside: tuple[int, ...]


class Band(msgspec.Struct, frozen=True, kw_only=True):
    """A guard band beside a limit: ``w`` wide, in the unit of the figure, for the largest um of the group's readings.

    ``by``: the body's own rule, or that of the house.  ``rule`` is it in words.  ``both_sides``: a value as near the
    limit outside it is undecided too.
    """

    side: Literal["lower", "upper"]
    by: Literal["body", "house"]
    decision: DecisionRule
    rule: str
    w: float

    @property
    def both_sides(self) -> bool:
        """Whether the band lies on both sides of the limit."""
        return self.decision == "three_way"


class Distribution(msgspec.Struct, frozen=True, kw_only=True):
    """The capability of a quantity; ``bins`` and ``bands`` by group, for the first groups that have limits."""

    figures: CapabilityFigures
    bins: dict[str, Bins]
    bands: dict[str, tuple[Band, ...]]


class LimitsAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """The answer. ``units``: the units of the worst balls by what they are called, but for a number that several bear.

    ``distribution``: absent where no quantity was asked for, or where ``left_out`` says why there is none.
    """

    conformity: Conformity
    units: dict[str, str]
    distribution: Distribution | UnsetType = UNSET
    left_out: str = ""


def limits_answer(
    reader: Reader, selection: Selection, rulebook: str, asked: FiguresAsked | None = None
) -> LimitsAnswer:
    """Judge a selection, and where a quantity is asked for work out its distribution.

    ``asked`` is of the same selection and rulebook.  Raises NotFound for an unknown rulebook, MalformedQuantity.
    """
    conformity = conformity_of(reader, selection, rulebook)
    distribution: Distribution | UnsetType = UNSET
    left_out = ""
    if asked is not None:
        try:
            distribution = distribution_of(reader, asked)
        except (NotFound, TooLarge) as error:
            left_out = f"{error.problem}; {error.mend}" if error.mend else error.problem
    worst = {one.ball for balls in conformity.tally.worst.values() for one in balls}
    return LimitsAnswer(
        conformity=conformity,
        units=_units(reader, sorted(worst)),
        distribution=distribution,
        left_out=left_out,
    )


def distribution_of(reader: Reader, asked: FiguresAsked) -> Distribution:
    """The capability of each group, with the bins and bands of the first. Raises as `capability_of`."""
    figures, values = capability_with_values(reader, asked)
    limited = [one for one in figures.groups if one.limits is not None][:PICTURES]
    rules = _Rules(reader, asked)
    return Distribution(
        figures=figures,
        bins={one.group: _bins(values[one.group], one) for one in limited},
        bands={one.group: rules.bands(one) for one in limited},
    )


def _bins(values: Counter[int], one: GroupCapability) -> Bins:
    low, high = (None, None) if one.limits is None else one.limits.ends
    made = bin_readings(values, low=low, high=high, strict=one.limits is not None and one.limits.strict)
    return Bins(start=float(made.start), width=float(made.width), counts=made.counts, outside=made.outside)


class _Rules:
    """The rules by which a quantity is decided: the body's own for each requirement, and the house's."""

    def __init__(self, reader: Reader, asked: FiguresAsked) -> None:
        book = find_rulebook(reader, asked.rulebook or "").rulebook
        self._requirements: Mapping[str, Requirement] = {one.id: one for one in book.requirements}
        house = house_rule(reader, asked.quantity)
        self._house = None if house is None else house.rule

    def bands(self, one: GroupCapability) -> tuple[Band, ...]:
        """The bands of a group that are wider than nothing; none where the uncertainty is not known."""
        if one.limits is None or one.risk is None:
            return ()
        found = dict.fromkeys(self._wanted(one.limits.requirements, one.limits.low, one.limits.high))
        bands = [
            Band(side=side, by=by, decision=rule.decision, rule=rule.words, w=band_of(rule, one.risk.um))
            for side, by, rule in found
        ]
        return tuple(band for band in bands if band.w > 0)

    def _wanted(
        self, ids: Sequence[str], low: str | None, high: str | None
    ) -> Iterable[tuple[Literal["lower", "upper"], Literal["body", "house"], Rule]]:
        for requirement in (self._requirements[id] for id in ids):
            if requirement.low is not None:
                yield "lower", "body", rule_of(requirement)
            if requirement.high is not None:
                yield "upper", "body", rule_of(requirement)
        if self._house is not None:
            if low is not None:
                yield "lower", "house", self._house
            if high is not None:
                yield "upper", "house", self._house


def _units(reader: Reader, names: Sequence[str]) -> dict[str, str]:
    """The unit of each ball that is called by its number, or by its unit id where it has none. Two queries."""
    bearing: dict[str, list[str]] = {}
    for row in rows_with(reader, Unit, "serial", names):
        bearing.setdefault(row.serial, []).append(row.unit)
    unborne = [name for name in names if name not in bearing]
    plain = {one.unit.unit: one.unit.unit for one in select_units(reader.transaction, unborne)} if unborne else {}
    return {**plain, **{name: units[0] for name, units in bearing.items() if len(units) == 1}}
