"""A requirement in words: what is limited, for which balls, when, how it is measured, and how it is decided.

Every field of a scope and of a method shows in its words, so that two that differ read differently.
"""

from __future__ import annotations

from ledger.conformity.requirement import Method, Requirement, Scope
from ledger.line.quantity import QUANTITIES

_NO_METHOD = Method()

_DECISIONS = {"simple": "simple acceptance", "three_way": "three outcomes"}

_PER = {
    "ball": "each ball",
    "lot_mean": "the mean of a lot",
    "component": "each component",
    "model": "the model, once",
}

_EFFECTS = {
    "limit": "a limit that must be met",
    "bar": "a bar that keeps out of some events",
    "trigger": "a trigger that asks for more samples",
}


def requirement_words(requirement: Requirement) -> str:
    """One line: quantity and limit, what it holds for, by which date, and where it comes from."""
    parts = [
        f"{quantity_words(requirement)} {requirement.limit_text}",
        per_words(requirement),
        scope_words(requirement.scope),
        f"by date of {requirement.clock} {requirement.period_text}",
    ]
    if requirement.method != _NO_METHOD:
        parts.append(method_words(requirement.method))
    if requirement.effect != "limit":
        parts.append(effect_words(requirement))
    if requirement.decision != "simple":
        parts.append(decision_words(requirement))
    return "; ".join((*parts, f"provenance {requirement.provenance}"))


def quantity_words(requirement: Requirement) -> str:
    """The quantity's name, and which meaning of it."""
    name = QUANTITIES[requirement.quantity].name
    if not requirement.definition:
        return name
    if requirement.definition == "unstated":
        return f"{name} (definition not stated)"
    return f"{name} ({requirement.definition.replace('_', ' ')})"


def per_words(requirement: Requirement) -> str:
    """What is held against the limit."""
    return _PER[requirement.per]


def effect_words(requirement: Requirement) -> str:
    """What becomes of a ball that fails."""
    return _EFFECTS[requirement.effect]


def decision_words(requirement: Requirement) -> str:
    """The decision rule."""
    guarded = f"guarded acceptance, w = {requirement.guard_r} U"
    return _DECISIONS.get(requirement.decision, guarded)


def scope_words(scope: Scope) -> str:
    """The balls that a limit is about."""
    adjectives = [word for word in (scope.drilled, scope.finish) if word != "any"]
    words = " ".join((*adjectives, "balls"))
    if scope.core != "any":
        words += f" with {'an asymmetric' if scope.core == 'asymmetric' else 'a symmetric'} core"
    words += _class_words(scope)
    if scope.kind is not None:
        unstated = "left undecided" if scope.kind_unstated == "undecided" else "taken for others"
        words += f", of kind {scope.kind.replace('_', ' ')} (those that do not say are {unstated})"
    return words if words != "balls" else "every ball"


def _class_words(scope: Scope) -> str:
    ends = []
    if scope.min_class_lb is not None:
        ends.append(f"{'more than' if scope.min_class_strict else 'at least'} {scope.min_class_lb} lb")
    if scope.max_class_lb is not None:
        ends.append(f"{'less than' if scope.max_class_strict else 'at most'} {scope.max_class_lb} lb")
    if not ends:
        return ""
    basis = "as weighed" if scope.class_basis == "weighed" else "by nominal class"
    return f" of {' and '.join(ends)} {basis} ({scope.class_edge})"


def method_words(method: Method) -> str:
    """The conditions of a reading."""
    parts = []
    if method.temperature_c is not None:
        parts.append(f"at {' to '.join(method.temperature_c)} deg C")
    if method.delay_s is not None:
        parts.append(f"read within {method.delay_s} s")
    if method.readings is not None:
        parts.append(f"{method.readings} readings or more")
    if method.spacing_mm is not None:
        parts.append(f"{method.spacing_mm} mm apart or more")
    if method.statistic is not None:
        parts.append(f"their {method.statistic}" if method.statistic != "single" else "one reading")
    if method.surface:
        parts.append(f"surface {method.surface}")
    if method.standard:
        parts.append(f"beyond the body's text: {method.standard}")
    return ", ".join(parts) or "no condition stated"
