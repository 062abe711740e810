"""What changes, as rows: outcomes from before to after, and a line for each ball and quantity that changes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from msgspec import UnsetType

from api.pages.limits.csv_table import Figure
from ledger.application.impact_of_correction import ImpactOfCorrection
from ledger.application.impact_of_gauge import ImpactOfGauge
from ledger.application.impact_of_rules import ImpactOfRules
from ledger.application.impact_pass import BallPlace, Change
from ledger.conformity.impact import Matrix, VerdictChange
from ledger.conformity.outcome import OUTCOMES
from ledger.conformity.words import OUTCOME_WORDS
from ledger.line.quantity import UNITS


class Moved(NamedTuple):
    """So many balls go from one outcome to another."""

    before: str
    after: str
    balls: int


class BallLine(NamedTuple):
    """A ball and one quantity that changes, empty where none does. ``before``, ``after``, ``verdict_...`` are outcomes."""

    serial: str
    unit: str
    lot: str
    state: str
    shipment: str
    before: str
    after: str
    quantity: str
    verdict_before: str
    value_before: str
    margin_before: str
    limit_before: str
    verdict_after: str
    value_after: str
    margin_after: str
    limit_after: str
    printed: str


def matrix_rows(matrix: Matrix) -> list[Moved]:
    """The changes that a matrix counts, the worst outcome after first."""
    return [
        Moved(before, after, matrix[before][after])
        for after in OUTCOMES
        for before in reversed(OUTCOMES)
        if before != after and matrix[before][after]
    ]


def quantity_rows(change: Change) -> list[tuple[str, Moved]]:
    """The same for each quantity of which a verdict changes."""
    return [(quantity, moved) for quantity, matrix in change.quantities.items() for moved in matrix_rows(matrix)]


def rules_lines(found: ImpactOfRules) -> list[BallLine]:
    """The listed balls of a change of rules."""
    return [line for one in found.listed for line in _lines(one.ball, one.before, one.after, one.changes)]


def gauge_lines(found: ImpactOfGauge) -> list[BallLine]:
    """The listed balls of a gauge: as they are with the bias taken out where that changes them, else as they are now."""
    lines: list[BallLine] = []
    for one in found.listed:
        if one.by_shift and not isinstance(one.shifted, UnsetType):
            lines += _lines(one.ball, one.before, one.shifted, one.by_shift)
        else:
            lines += _lines(one.ball, one.before, one.now, one.now_changes)
    return lines


def correction_lines(found: ImpactOfCorrection) -> list[BallLine]:
    """The listed balls of a correction; one that would not be in the book without it has no outcome before."""
    return [
        line
        for one in found.listed
        for line in _lines(one.ball, "" if isinstance(one.before, UnsetType) else one.before, one.after, one.changes)
    ]


def corrected_kinds(found: ImpactOfCorrection) -> list[tuple[str, str, list[str]]]:
    """What was corrected, facts of one kind together: the kind before, since (empty where withdrawn), and addresses."""
    together: dict[tuple[str, str], list[str]] = {}
    for one in found.facts:
        together.setdefault((one.before, one.after), []).append(one.fact)
    return [(before, after, facts) for (before, after), facts in together.items()]


def in_words(lines: Iterable[BallLine]) -> list[BallLine]:
    """The same with the outcomes in words, as a table has them."""
    return [
        one._replace(
            before=OUTCOME_WORDS.get(one.before, one.before),
            after=OUTCOME_WORDS.get(one.after, one.after),
            verdict_before=OUTCOME_WORDS.get(one.verdict_before, ""),
            verdict_after=OUTCOME_WORDS.get(one.verdict_after, ""),
        )
        for one in lines
    ]


def _lines(ball: BallPlace, before: str, after: str, changes: Iterable[VerdictChange]) -> Iterator[BallLine]:
    known = (ball.serial or "", ball.unit, ball.lot, ball.state, ball.shipment or "")
    told = False
    for one in changes:
        told = True
        sides = [
            (side.outcome, Figure(side.value or ""), Figure(side.margin or ""), side.limit)
            for side in (one.before, one.after)
        ]
        unit = one.after.unit or one.before.unit
        yield BallLine(*known, before, after, one.quantity, *sides[0], *sides[1], UNITS[unit].printed if unit else "")
    if not told:
        yield BallLine(*known, before, after, *([""] * 10))
