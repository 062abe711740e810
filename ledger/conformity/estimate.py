"""A value that knows where its doubt comes from.

Two estimates made from one input are correlated, and their difference shows it: what they share cancels.  The library
``uncertainties`` carries the derivatives; GUM 5.1.2 and 5.2 (JCGM 100:2008, clauses from memory) are what it computes.

First order only.  An input is one reason for doubt and independent of every other input.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, NamedTuple

from ledger.conformity.uncertainty import Budget, Kind, Term, check_positive
from ledger.errors import MalformedQuantity
from ledger.line.quantity import convert


class Source(NamedTuple):
    """What a term of a later budget says of the input it comes from."""

    name: str
    unit: str
    kind: Kind
    dof: float
    how: str


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """A value in ``unit``; ``number`` is a number of the library ``uncertainties``, or a plain one without doubt.

    Made by ``estimate`` and ``estimate_from``, then by the models.
    """

    name: str
    unit: str
    number: Any

    @property
    def value(self) -> float:
        """The value, in ``unit``."""
        return float(getattr(self.number, "nominal_value", self.number))

    @property
    def u(self) -> float:
        """The standard uncertainty, in ``unit``."""
        return float(getattr(self.number, "std_dev", 0.0))

    def budget(self) -> Budget:
        """Every input's part in the uncertainty, the largest first."""
        terms = [
            Term(
                name=variable.tag.name,
                u=float(variable.std_dev),
                unit=variable.tag.unit,
                kind=variable.tag.kind,
                sensitivity=float(derivative),
                dof=variable.tag.dof,
                how=variable.tag.how,
            )
            for variable, derivative in getattr(self.number, "derivatives", {}).items()
        ]
        terms.sort(key=lambda term: (-term.contribution, term.name))
        return Budget(name=self.name, value=self.value, unit=self.unit, terms=tuple(terms))

    def in_unit(self, unit: str) -> Estimate:
        """The same amount in another unit, by its exact factor. Raises MalformedQuantity where there is none."""
        return Estimate(self.name, unit, self.number * float(convert(Fraction(1), self.unit, unit)))


def estimate(
    name: str,
    value: float,
    u: float,
    unit: str,
    *,
    kind: Kind = "B",
    dof: float = math.inf,
    how: str = "",
) -> Estimate:
    """A new input with standard uncertainty ``u``. Raises MalformedQuantity where a value or ``u`` is not finite."""
    if not math.isfinite(value):
        raise MalformedQuantity("value is not finite", got=value, where=name)
    check_positive(u, f"uncertainty of {name}", zero_allowed=True)
    if not dof > 0:
        raise MalformedQuantity("degrees of freedom are not positive", got=dof, where=name)
    return Estimate(name, unit, value + _doubt(u, Source(name, unit, kind, dof, how)))


def estimate_from(budget: Budget) -> Estimate:
    """An input whose doubt is a whole budget, such as that of a mean; its terms stay apart in what is made from it.

    Correlated terms become one, with the budget's name and effective degrees of freedom.
    """
    if budget.correlations:
        return estimate(budget.name, budget.value, budget.u, budget.unit, dof=budget.dof)
    number: Any = budget.value
    for term in budget.terms:
        source = Source(f"{budget.name}: {term.name}", term.unit, term.kind, term.dof, term.how)
        number = number + term.sensitivity * _doubt(term.u, source)
    return Estimate(budget.name, budget.unit, number)


def difference(first: Estimate, second: Estimate, name: str = "difference") -> Estimate:
    """First less second, in the first's unit; what the two share is not counted twice."""
    return Estimate(name, first.unit, first.number - second.in_unit(first.unit).number)


def check_above_zero(amount: Estimate) -> None:
    """The value lies above zero, or MalformedQuantity is raised."""
    check_positive(amount.value, amount.name)


def _doubt(u: float, source: Source) -> Any:
    # The library warns of a variable without doubt, and its derivative there says nothing.
    if u == 0:
        return 0.0
    from uncertainties import ufloat  # noqa: PLC0415 - loaded only where a model is worked out

    return ufloat(0.0, u, tag=source)
