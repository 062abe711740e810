"""One line of a rulebook: a limit on a quantity, for which balls, from when to when, and where it was read.

Limits stay decimal text in the unit that the body prints; the comparison operator is part of the limit.
This module holds the types and what makes a requirement sound.  It judges nothing: see ``verdict``.
"""

from __future__ import annotations

import datetime as dt
import functools
from fractions import Fraction
from typing import Literal

import msgspec

from ledger.errors import LedgerError, MalformedRulebook
from ledger.line.quantity import UNITS, check_unit, parse_number

Operator = Literal["<", "<=", ">", ">=", "range"]
Clock = Literal["manufacture", "approval", "event"]
DecisionRule = Literal["simple", "guarded", "three_way"]
Provenance = Literal["read", "second-hand", "memory"]

_SIDES: dict[str, frozenset[str]] = {
    ">": frozenset({"low"}),
    ">=": frozenset({"low"}),
    "<": frozenset({"high"}),
    "<=": frozenset({"high"}),
    "range": frozenset({"low", "high"}),
}


@functools.lru_cache(maxsize=4096)
def _exact(text: str) -> Fraction:
    # A population asks for the same few limits a million times.
    return Fraction(text)


class Scope(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The balls that a requirement is about.

    ``min_class_lb``: decimal pounds; ``class_basis`` says whether the weighed value or the nominal class is held
    against it, and ``class_edge`` says in words what happens at the edge and what is rounded.
    ``kind``: only balls of that kind (``urethane``, ``house``, ...); ``kind_unstated`` says what a model that does not
    state it is taken for.
    """

    min_class_lb: str | None = None
    class_basis: Literal["weighed", "nominal"] | None = None
    class_edge: str | None = None
    core: Literal["any", "symmetric", "asymmetric"] = "any"
    drilled: Literal["any", "undrilled"] = "any"
    kind: str | None = None
    kind_unstated: Literal["outside", "undecided"] = "undecided"


class Requirement(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A limit, its scope, the clock that selects it (inclusive dates), its decision rule and its provenance.

    ``limits``: one decimal text, two (lower, upper, both inclusive) for ``range``, in ``unit``.
    ``guard_r``: guard band of the ``guarded`` rule as a multiple of U = 2u (JCGM 106:2012, 8.3.2; clause from memory).
    ``row`` names the note in which the source was collected.
    """

    id: str
    row: str
    quantity: str
    operator: Operator
    limits: tuple[str, ...]
    unit: str
    clock: Clock
    source: str
    provenance: Provenance
    scope: Scope = Scope()
    effective_from: dt.date | None = None
    effective_to: dt.date | None = None
    decision: DecisionRule = "simple"
    guard_r: str = "1"
    section: str = ""
    note: str = ""

    @property
    def low(self) -> Fraction | None:
        """The lower limit, exactly, if there is one."""
        return _exact(self.limits[0]) if "low" in _SIDES[self.operator] else None

    @property
    def high(self) -> Fraction | None:
        """The upper limit, exactly, if there is one."""
        return _exact(self.limits[-1]) if "high" in _SIDES[self.operator] else None

    @property
    def strict(self) -> bool:
        """Whether a value on the limit is outside."""
        return self.operator in ("<", ">")

    @property
    def limit_text(self) -> str:
        """The limit as a rulebook prints it, such as ">= 73 Shore D" or "26.704 to 27.002 in"."""
        printed = UNITS[self.unit].printed
        if self.operator == "range":
            return f"{self.limits[0]} to {self.limits[1]} {printed}"
        return f"{self.operator} {self.limits[0]} {printed}"

    @property
    def period_text(self) -> str:
        """The dates between which it is in force, in words."""
        since = f"from {self.effective_from}" if self.effective_from else "from the beginning"
        until = f"to {self.effective_to}" if self.effective_to else "until further notice"
        return f"{since} {until}"

    def in_force(self, on: dt.date) -> bool:
        """Whether the date lies in the period; both ends are in it."""
        after = self.effective_from is None or self.effective_from <= on
        return after and (self.effective_to is None or on <= self.effective_to)

    def same_family(self, other: Requirement) -> bool:
        """Whether both limit the same side of one quantity, for the same balls, by the same clock."""
        same = (self.quantity, self.scope, self.clock) == (other.quantity, other.scope, other.clock)
        return same and bool(_SIDES[self.operator] & _SIDES[other.operator])

    def overlaps(self, other: Requirement) -> bool:
        """Whether some date lies in both periods."""
        starts = max(self.effective_from or dt.date.min, other.effective_from or dt.date.min)
        return starts <= min(self.effective_to or dt.date.max, other.effective_to or dt.date.max)


def check_requirement(requirement: Requirement) -> None:
    """The requirement is sound by itself, or MalformedRulebook is raised; ``where`` is the field's name."""
    _check_limits(requirement)
    _check_scope(requirement.scope)
    for field in ("id", "row", "source"):
        if not getattr(requirement, field).strip():
            raise MalformedRulebook(f"{field} is empty", where=field)
    first, last = requirement.effective_from, requirement.effective_to
    if first and last and first > last:
        raise MalformedRulebook(
            "period ends before it begins", expected=f"{first} or later", got=str(last), where="effective_to"
        )


def _check_limits(requirement: Requirement) -> None:
    try:
        check_unit(requirement.quantity, requirement.unit)
    except LedgerError as error:
        raise MalformedRulebook(error.problem, expected=error.expected, got=error.got, where=error.where) from error
    wanted = 2 if requirement.operator == "range" else 1
    if len(requirement.limits) != wanted:
        raise MalformedRulebook(
            f"operator {requirement.operator} has another number of limits",
            expected=wanted,
            got=len(requirement.limits),
            where="limits",
        )
    values = [_decimal(text, "limits") for text in requirement.limits]
    if wanted == 2 and values[0] >= values[1]:
        raise MalformedRulebook("lower limit is not below the upper", got=list(requirement.limits), where="limits")
    if _decimal(requirement.guard_r, "guard_r") < 0:
        raise MalformedRulebook("guard band is negative", got=requirement.guard_r, where="guard_r")


def _check_scope(scope: Scope) -> None:
    if scope.min_class_lb is None:
        if scope.class_basis or scope.class_edge:
            raise MalformedRulebook("scope has a class rule and no class", expected="min_class_lb", where="scope")
        return
    _decimal(scope.min_class_lb, "scope")
    if scope.class_basis is None or not scope.class_edge:
        raise MalformedRulebook("weight class has no edge rule", expected="class_basis and class_edge", where="scope")


def _decimal(text: str, field: str) -> Fraction:
    try:
        return parse_number(text)
    except LedgerError as error:
        raise MalformedRulebook("number is no decimal text", expected="such as 2.460", got=text, where=field) from error
