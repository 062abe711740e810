"""The figures of a verdict as a report prints them: the value, U, the margin, the probability, and words for outcomes.

Value, limit and margin are those of the sheet.  U and the probability are worked out of its readings by the functions
that judge, since a sheet states the standard uncertainty alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from typing import NamedTuple

from msgspec import UNSET

from ledger.conformity.decision import figure_of, probability_of, shown
from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.probability import probability_text
from ledger.conformity.requirement import Requirement
from ledger.conformity.requirement_words import quantity_words
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.verdict import reading_of
from ledger.errors import MalformedDossier
from ledger.evidence.dossier_format import BallSheet, ReadingLine, VerdictLine, VerdictTable
from ledger.line.quantity import SCALE, UNITS, format_number


class Judged(NamedTuple):
    """A verdict of a sheet with its requirement; ``expanded``: U in the limit's unit, None where it is not known."""

    requirement: Requirement
    line: VerdictLine
    expanded: Fraction | None
    probability: str

    @property
    def unit(self) -> str:
        """The unit of value, limit and margin, as printed."""
        return UNITS[self.requirement.unit].printed

    @property
    def value(self) -> str:
        """The value as the sheet has it; empty where nothing was held against the limit."""
        return "" if self.line.value is UNSET else self.line.value

    @property
    def expanded_text(self) -> str:
        """U rounded up to two digits; empty where it is not known."""
        return "" if self.expanded is None else shown(self.expanded, 2)

    @property
    def margin(self) -> str:
        """The margin with its sign; empty without a value."""
        if self.line.margin is UNSET:
            return ""
        return self.line.margin if self.line.margin.startswith("-") else f"+{self.line.margin}"

    @property
    def limit(self) -> str:
        """The limit as printed in books."""
        return pretty_limit(self.line.limit)


def pretty_limit(limit: str) -> str:
    """The limit with the signs of print."""
    return limit.replace("<=", "\u2264").replace(">=", "\u2265")


def judged_of(sheet: BallSheet, table: VerdictTable, rulebooks: Mapping[str, Rulebook]) -> Iterator[Judged]:
    """The verdicts of a table in its order. Raises MalformedDossier for a requirement that its rulebook lacks."""
    rulebook = rulebooks.get(table.rulebook)
    known = {} if rulebook is None else {one.id: one for one in rulebook.requirements}
    facts = BallFacts(
        core=sheet.core,
        weight_class=None,
        made_on=None,
        readings={line.quantity: _measured(line) for line in sheet.readings},
    )
    for line in table.verdicts:
        requirement = known.get(line.requirement)
        if requirement is None:
            raise MalformedDossier("rulebook lacks a requirement", got=line.requirement, where=sheet.unit)
        yield _judged(requirement, line, facts)


def _judged(requirement: Requirement, line: VerdictLine, facts: BallFacts) -> Judged:
    measured, _ = reading_of(requirement.quantity, facts)
    if measured is None or line.value is UNSET or measured.u is None:
        return Judged(requirement, line, None, "")
    figure = figure_of(measured).in_unit(requirement.unit)
    if figure.u is None or format_number(figure.value) != line.value:
        return Judged(requirement, line, None, "")
    return Judged(requirement, line, 2 * figure.u, probability_text(probability_of(requirement, figure)))


def _measured(line: ReadingLine) -> Measured:
    return Measured(
        value_scaled=line.value,
        unit=line.unit,
        u_scaled=None if line.standard_uncertainty is UNSET else line.standard_uncertainty,
        readings=line.values,
        gauge=line.gauge,
        usable=line.usable,
        fact=line.fact,
    )


def reading_value(line: ReadingLine) -> str:
    """The value of a reading, without its unit."""
    return format_number(Fraction(line.value, SCALE))


def reading_expanded(line: ReadingLine) -> str:
    """U = 2u of a reading, as it is judged with, rounded up to two digits; empty where none is known."""
    if line.standard_uncertainty is UNSET:
        return ""
    return shown(Fraction(2 * line.standard_uncertainty, SCALE), 2)


def name_of(requirement: Requirement) -> str:
    """The quantity of a requirement, with a capital."""
    words = quantity_words(requirement)
    return words[:1].upper() + words[1:]
