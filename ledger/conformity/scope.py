"""Whether a requirement is about a ball at all: its scope and its clock.

There are three answers: yes, no, and unknown, when the fact that decides is not on record.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from ledger.conformity.facts import BallFacts
from ledger.conformity.requirement import Requirement, Scope
from ledger.line.quantity import convert, format_number


class Applies(Enum):
    """Whether a requirement applies to a ball."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Standing:
    """The answer and the plain sentences that led to it."""

    applies: Applies
    reasons: tuple[str, ...] = ()


_YES = Standing(Applies.YES)


def _no(reason: str) -> Standing:
    return Standing(Applies.NO, (reason,))


def _unknown(reason: str) -> Standing:
    return Standing(Applies.UNKNOWN, (reason,))


def standing(requirement: Requirement, facts: BallFacts) -> Standing:
    """Whether the requirement applies: no if any condition says no, unknown if any is unknown, else yes."""
    answers = (clock_standing(requirement, facts), *scope_standing(requirement.scope, facts))
    said = [answer for answer in answers if answer is not _YES]
    if not said:
        return _YES
    for applies in (Applies.NO, Applies.UNKNOWN):
        reasons = tuple(reason for answer in said if answer.applies is applies for reason in answer.reasons)
        if reasons:
            return Standing(applies, reasons)
    return Standing(Applies.YES, tuple(reason for answer in said for reason in answer.reasons))


def clock_standing(requirement: Requirement, facts: BallFacts) -> Standing:
    """Whether the requirement was in force on the date that its clock reads.

    A requirement without dates is in force whatever the date; one that goes by an event concerns only a ball that is
    asked about for an event.
    """
    dates = {"manufacture": facts.made_on, "approval": facts.approved_on, "event": facts.event_on}
    on = dates[requirement.clock]
    if on is None and requirement.clock == "event":
        return _no("no event was asked about")
    if requirement.effective_from is None and requirement.effective_to is None:
        return _YES
    if on is None:
        return _unknown(
            f"the date of {requirement.clock} is not known; the limit is in force {requirement.period_text}"
        )
    if requirement.in_force(on):
        return _YES
    return _no(f"not in force on {on}, the date of {requirement.clock}: in force {requirement.period_text}")


def scope_standing(scope: Scope, facts: BallFacts) -> tuple[Standing, ...]:
    """One answer for each condition of the scope."""
    return (
        _drilled(scope, facts),
        _core(scope, facts),
        _finish(scope, facts),
        _kind(scope, facts),
        _weight_class(scope, facts),
    )


def _drilled(scope: Scope, facts: BallFacts) -> Standing:
    if scope.drilled == "undrilled" and facts.drilled:
        return _no("the limit is for an undrilled ball, and this one is drilled")
    if scope.drilled == "drilled" and not facts.drilled:
        return _no("the limit is for a drilled ball, and this one is not drilled")
    return _YES


def _core(scope: Scope, facts: BallFacts) -> Standing:
    if scope.core in ("any", facts.core):
        return _YES
    return _no(f"the limit is for a ball with {_a(scope.core)} core, and this one has {_a(facts.core)} core")


def _finish(scope: Scope, facts: BallFacts) -> Standing:
    if scope.finish in ("any", facts.finish):
        return _YES
    if facts.finish is None:
        return _unknown(f"the limit is for {_a(scope.finish)} ball, and how this one is finished is not on record")
    return _no(f"the limit is for {_a(scope.finish)} ball, and this one is {facts.finish}")


def _kind(scope: Scope, facts: BallFacts) -> Standing:
    if scope.kind is None:
        return _YES
    words = scope.kind.replace("_", " ")
    stated = facts.kinds.get(scope.kind)
    if stated:
        return Standing(Applies.YES, (f"the model states that it is {_a(words)} ball",))
    if stated is None and scope.kind_unstated == "undecided":
        return _unknown(f"the limit is for {_a(words)} ball, and the model does not state whether it is one")
    return _no(f"the limit is for {_a(words)} ball, which this model does not state itself to be")


def _weight_class(scope: Scope, facts: BallFacts) -> Standing:
    if scope.min_class_lb is None and scope.max_class_lb is None:
        return _YES
    weight, basis = _class_weight(scope, facts)
    if weight is None:
        return _unknown(f"the limit is for {_classes(scope)}, and the ball has neither weight nor class on record")
    outside = _outside(scope, weight)
    if outside:
        return _no(f"{basis} {format_number(weight)} lb is {outside} ({scope.class_edge})")
    if basis == "nominal class" and scope.class_basis == "weighed":
        return Standing(Applies.YES, ("the ball has no usable weight; its nominal class stands in for it",))
    return _YES


def _outside(scope: Scope, weight: Fraction) -> str:
    """Which end of the weight class a weight in pounds lies beyond, or nothing."""
    if scope.min_class_lb is not None:
        least = Fraction(scope.min_class_lb)
        if weight < least or (scope.min_class_strict and weight == least):
            return f"not over {scope.min_class_lb} lb" if scope.min_class_strict else f"under {scope.min_class_lb} lb"
    if scope.max_class_lb is not None:
        most = Fraction(scope.max_class_lb)
        if weight > most or (scope.max_class_strict and weight == most):
            return f"not under {scope.max_class_lb} lb" if scope.max_class_strict else f"over {scope.max_class_lb} lb"
    return ""


def _classes(scope: Scope) -> str:
    """The weight class in words."""
    ends = []
    if scope.min_class_lb is not None:
        ends.append(f"{'over ' if scope.min_class_strict else ''}{scope.min_class_lb} lb")
    if scope.max_class_lb is not None:
        ends.append(f"{'under ' if scope.max_class_strict else ''}{scope.max_class_lb} lb")
    if len(ends) == 2:
        return f"balls of {ends[0]} to {ends[1]}"
    end = "or more" if scope.min_class_lb is not None else "or less"
    strict = scope.min_class_strict or scope.max_class_strict
    return f"balls of {ends[0]}" if strict else f"balls of {ends[0]} {end}"


def _class_weight(scope: Scope, facts: BallFacts) -> tuple[Fraction | None, str]:
    mass = facts.readings.get("mass")
    if scope.class_basis == "weighed" and mass is not None and mass.usable:
        return mass.value if mass.unit == "lb" else convert(mass.value, mass.unit, "lb"), "weighed"
    return (None, "") if facts.weight_class is None else (Fraction(facts.weight_class), "nominal class")


def _a(word: str) -> str:
    return f"an {word}" if word[0] in "aeio" else f"a {word}"
