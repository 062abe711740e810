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

from ledger.conformity.toml_text import check_word
from ledger.errors import LedgerError, MalformedRulebook
from ledger.line.quantity import OF_COMPONENTS, UNITS, check_unit, parse_number

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


_DEFINED = ("static_imbalance",)
"""Quantities of several meanings: a limit on one says which it means, or that its text does not."""


@functools.lru_cache(maxsize=4096)
def _exact(text: str) -> Fraction:
    # A population asks for the same few limits a million times.
    return Fraction(text)


class Scope(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The balls that a requirement is about.

    ``min_class_lb``, ``max_class_lb``: decimal pounds, each end included unless ``..._strict``; ``class_basis`` says
    whether the weighed value or the nominal class is held against them, and ``class_edge`` says in words what happens at
    the edge and what is rounded.
    ``kind``: only balls of that kind (``urethane``, ``house``, ...); ``kind_unstated`` says what a model that does not
    state it is taken for.  ``finish``: only balls whose surface is finished so.
    """

    min_class_lb: str | None = None
    min_class_strict: bool = False
    max_class_lb: str | None = None
    max_class_strict: bool = False
    class_basis: Literal["weighed", "nominal"] | None = None
    class_edge: str | None = None
    core: Literal["any", "symmetric", "asymmetric"] = "any"
    drilled: Literal["any", "undrilled", "drilled"] = "any"
    finish: Literal["any", "sanded", "polished"] = "any"
    kind: str | None = None
    kind_unstated: Literal["outside", "undecided"] = "undecided"


class Method(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The conditions under which a reading counts for a requirement; what is absent was not stated where it was read.

    ``temperature_c``: lowest and highest, decimal degrees Celsius, both included.  ``delay_s``: longest time from firm
    contact to reading.  ``readings``: fewest repeated readings; ``spacing_mm``: least distance between them.
    ``statistic``: the figure that stands for them.  ``surface``: the state of the surface, in words.
    ``standard``: what a standard of testing asks for beyond the body's own text, in words; nothing is judged by it.
    """

    temperature_c: tuple[str, str] | None = None
    delay_s: str | None = None
    readings: int | None = None
    spacing_mm: str | None = None
    statistic: Literal["mean", "median", "range", "single"] | None = None
    surface: str = ""
    standard: str = ""


class Requirement(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A limit, its scope, the clock that selects it (inclusive dates), its decision rule and its provenance.

    ``limits``: one decimal text, two (lower, upper, both inclusive) for ``range``, in ``unit``.
    ``guard_r``: guard band of the ``guarded`` rule as a multiple of U = 2u (JCGM 106:2012, 8.3.2; clause from memory).
    ``per``: what is held against the limit: each ball, the mean of a lot, each component, or the model once.
    ``effect``: a ``limit`` that a ball must meet; a ``bar`` keeps a ball that fails it out of some events and no more; a
    ``trigger`` asks for more samples where it is not met, and fails nothing.
    ``definition``: which of the things that bear the quantity's name is meant (see `quantity`); empty where the name has
    one meaning, ``unstated`` where the text that was read does not say.
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
    per: Literal["ball", "lot_mean", "component", "model"] = "ball"
    effect: Literal["limit", "bar", "trigger"] = "limit"
    method: Method = Method()
    definition: str = ""
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
        """Whether both limit the same side of one quantity, for the same balls, by the same clock, to the same effect."""
        same = self._family() == other._family()
        return same and bool(_SIDES[self.operator] & _SIDES[other.operator])

    def _family(self) -> tuple[object, ...]:
        return self.quantity, self.scope, self.clock, self.per, self.effect, self.definition

    def overlaps(self, other: Requirement) -> bool:
        """Whether some date lies in both periods."""
        starts = max(self.effective_from or dt.date.min, other.effective_from or dt.date.min)
        return starts <= min(self.effective_to or dt.date.max, other.effective_to or dt.date.max)


def check_requirement(requirement: Requirement) -> None:
    """The requirement is sound by itself, or MalformedRulebook is raised.

    ``where`` is the field's name, and after a point the name of a field inside it.
    """
    _check_limits(requirement)
    _check_meaning(requirement)
    _check_scope(requirement.scope)
    _check_method(requirement.method)
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


def _check_meaning(requirement: Requirement) -> None:
    if requirement.quantity in _DEFINED and not requirement.definition:
        raise MalformedRulebook(
            f"{requirement.quantity} has several meanings, and the limit says none",
            expected="definition",
            where="quantity",
            mend='state the definition; write "unstated" where the text of the body does not tell it',
        )
    for word, field in ((requirement.definition, "definition"), (requirement.scope.kind, "scope.kind")):
        if word:
            check_word(word, field)
    of_component = requirement.quantity in OF_COMPONENTS
    if of_component != (requirement.per == "component"):
        raise MalformedRulebook(
            f"{requirement.quantity} is a quantity of a {'component' if of_component else 'ball'}",
            expected="component" if of_component else "ball or lot_mean or model",
            got=requirement.per,
            where="per",
        )


def _check_scope(scope: Scope) -> None:
    low, high = scope.min_class_lb, scope.max_class_lb
    for text, strict, name in ((low, scope.min_class_strict, "min_class"), (high, scope.max_class_strict, "max_class")):
        if text is None and strict:
            raise MalformedRulebook("a strict edge and no class", expected=f"{name}_lb", where=f"scope.{name}_strict")
        if text is not None and _decimal(text, f"scope.{name}_lb") < 0:
            raise MalformedRulebook("weight class is negative", got=text, where=f"scope.{name}_lb")
    if low is None and high is None:
        if scope.class_basis or scope.class_edge:
            raise MalformedRulebook(
                "scope has a class rule and no class", expected="min_class_lb or max_class_lb", where="scope"
            )
        return
    if low is not None and high is not None:
        _check_classes(Fraction(low), Fraction(high), strict=scope.min_class_strict or scope.max_class_strict)
    if scope.class_basis is None or not (scope.class_edge or "").strip():
        raise MalformedRulebook("weight class has no edge rule", expected="class_basis and class_edge", where="scope")


def _check_classes(low: Fraction, high: Fraction, *, strict: bool) -> None:
    if low > high:
        raise MalformedRulebook("lowest class is above the highest", where="scope.max_class_lb")
    if low == high and strict:
        raise MalformedRulebook("no weight lies between the two classes", where="scope.max_class_lb")


def _check_method(method: Method) -> None:
    for text, name in ((method.delay_s, "delay_s"), (method.spacing_mm, "spacing_mm")):
        if text is not None and _decimal(text, f"method.{name}") < 0:
            raise MalformedRulebook("condition is negative", got=text, where=f"method.{name}")
    if method.readings is not None and method.readings < 1:
        raise MalformedRulebook("number of readings is below one", got=method.readings, where="method.readings")
    if method.temperature_c is not None:
        low, high = (_decimal(text, "method.temperature_c") for text in method.temperature_c)
        if low > high:
            raise MalformedRulebook(
                "temperature range ends before it begins",
                got=list(method.temperature_c),
                where="method.temperature_c",
            )


def _decimal(text: str, field: str) -> Fraction:
    try:
        return parse_number(text)
    except LedgerError as error:
        raise MalformedRulebook("number is no decimal text", expected="such as 2.460", got=text, where=field) from error
