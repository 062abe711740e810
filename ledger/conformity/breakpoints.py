"""Where the verdict on a figure can change: between two neighbouring breakpoints every value comes out the same.

Breakpoints are exact fractions, values whole numbers, so a value lies on a breakpoint or strictly between two.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from ledger.conformity.decision import rule_of
from ledger.conformity.probability import THREE_WAY_FACTOR
from ledger.line.quantity import SCALE, convert

if TYPE_CHECKING:
    import numpy as np

    from ledger.conformity.house import HousePolicy, Rule
    from ledger.conformity.requirement import Requirement, Scope

    Whole = np.ndarray[Any, np.dtype[np.int64]]

NEAR = 5
"""Two limits nearer than this many u have a third place where the three-way verdict changes, which is not worked out."""

_COMPARED = 16
"""Breakpoints are compared with every value, which is much less work than to search, where they are at most so many."""


class Pieces:
    """The pieces into which sorted breakpoints cut the whole numbers: 2 n + 1 of them for n breakpoints."""

    def __init__(self, points: Iterable[Fraction]) -> None:
        """``points`` in any order; equal ones count once."""
        import numpy as np  # noqa: PLC0415  # costs start-up time, and only populations need it

        numbers: dict[int, int] = {}
        ordered = sorted(set(points))
        for place, point in enumerate(ordered):
            # For a whole number x, a breakpoint lies below x where its floor does.
            floor = point.numerator // point.denominator
            if point.denominator == 1:
                numbers[floor] = 2 * place + 1
            numbers[floor + 1] = 2 * place + 2
        self.count = 2 * len(ordered) + 1
        # The first whole number of each piece that holds any, and what its number is above that of the one before.
        self._firsts = np.array(list(numbers), dtype=np.int64)
        self._steps = np.diff(np.array([0, *numbers.values()], dtype=np.int64))

    def of(self, values: Whole) -> Whole:
        """The number of the piece that each value lies in, from 0."""
        import numpy as np  # noqa: PLC0415  # see above

        if self.count > 2 * _COMPARED + 1:
            at = np.searchsorted(self._firsts, values, side="right")
            return np.concatenate(([0], np.cumsum(self._steps)))[at]
        # Numbers of so few pieces fit into a byte.
        pieces = np.zeros(len(values), dtype=np.int8)
        for first, step in zip(self._firsts.tolist(), self._steps.astype(np.int8), strict=True):
            pieces += (values >= first).view(np.int8) * step
        return pieces.astype(np.int64)


def value_points(
    requirements: Iterable[Requirement], unit: str, u: Fraction | None, policy: HousePolicy | None
) -> set[Fraction] | None:
    """Breakpoints of a quantity in millionths of the measured ``unit``, for readings of standard uncertainty ``u``.

    Every limit, and every limit moved by a guard band either way.  None where two limits lie too near for that.
    """
    points: set[Fraction] = set()
    for requirement in requirements:
        rules = [rule_of(requirement), *([] if policy is None else [policy.rule_for(requirement)])]
        limits = [limit for limit in (requirement.low, requirement.high) if limit is not None]
        at = [convert(limit, requirement.unit, unit) * SCALE for limit in limits]
        for rule in rules:
            band = _band(rule, u)
            points.update(point + side for point in at for side in (-band, 0, band))
            if rule.decision == "three_way" and u and len(at) == 2 and at[1] - at[0] < NEAR * u * SCALE:
                return None
    return points


def _band(rule: Rule, u: Fraction | None) -> Fraction:
    if u is None or rule.decision == "simple":
        return Fraction(0)
    factor = 2 * Fraction(rule.guard_r) if rule.decision == "guarded" else Fraction(THREE_WAY_FACTOR)
    return factor * u * SCALE


def class_points(scopes: Iterable[Scope], unit: str) -> set[Fraction]:
    """Ends of the weight classes that go by the weighed value, in millionths of the unit in which the mass was measured."""
    ends = [
        end for scope in scopes if scope.class_basis == "weighed" for end in (scope.min_class_lb, scope.max_class_lb)
    ]
    return {convert(Fraction(end), "lb", unit) * SCALE for end in ends if end is not None}


def day_starts(requirements: Iterable[Requirement], others: Iterable[int]) -> set[Fraction]:
    """Days since 1970-01-01, less a half, on which something begins or has ended: a requirement, or one of ``others``."""
    begins = {one.effective_from.toordinal() - EPOCH_DAY for one in requirements if one.effective_from is not None}
    ended = {one.effective_to.toordinal() + 1 - EPOCH_DAY for one in requirements if one.effective_to is not None}
    return {day - Fraction(1, 2) for day in (*begins, *ended, *others)}


EPOCH_DAY = 719_163
"""The proleptic Gregorian ordinal of 1970-01-01."""
