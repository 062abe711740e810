"""One figure judged by one requirement whose scope is settled: the outcome, its effect, and the house's answer beside it."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, NamedTuple

from msgspec import UNSET, UnsetType

from ledger.conformity.decision import (
    Decision,
    Figure,
    acceptance_text,
    decide,
    figure_of,
    more_readings_text,
    probability_of,
    rule_of,
    shown,
)
from ledger.conformity.facts import Measured
from ledger.conformity.house import HousePolicy, Rule
from ledger.conformity.method import conditions_of, other_definition
from ledger.conformity.outcome import HouseVerdict, Outcome, Verdict
from ledger.conformity.probability import probability_text
from ledger.conformity.requirement import Requirement
from ledger.conformity.scope import Applies, Standing
from ledger.line.quantity import UNITS, format_number

_APPLIES = Standing(Applies.YES)

_PROVENANCE_WORDS = {
    "second-hand": "the limit is second-hand: it was read where others quote the body",
    "memory": "the limit is from memory: it was not read anywhere",
}


class Ground(NamedTuple):
    """What a verdict rests on besides the figure.

    ``standing``: whether the requirement applies.  ``blocked``: why no figure decides, if so.  ``reasons``: what else is
    to be said.  ``fact``, ``u_from``: see ``Verdict``.
    """

    standing: Standing = _APPLIES
    blocked: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    fact: str = ""
    u_from: str = ""


NO_GROUND = Ground()
"""A requirement that applies, and nothing besides the figure to be said."""


def judge_reading(
    requirement: Requirement,
    measured: Measured,
    *,
    ground: Ground = NO_GROUND,
    body: str = "",
    policy: HousePolicy | None = None,
) -> Verdict:
    """The verdict on a usable reading, of a ball, a component or a model; the scope is taken as told in ``ground``."""
    other = other_definition(requirement, measured)
    if other:
        reasons = (*ground.standing.reasons, *ground.reasons, other)
        return unjudged(requirement, "not_measured", reasons, body=body, policy=policy, fact=measured.fact)
    conditions = conditions_of(requirement, measured)
    ground = Ground(
        ground.standing,
        (*ground.blocked, *conditions.otherwise),
        (*ground.reasons, *conditions.unknown),
        measured.fact,
        measured.u_from,
    )
    return judge_figure(requirement, figure_of(measured), ground, body=body, policy=policy)


def judge_figure(
    requirement: Requirement, figure: Figure, ground: Ground, *, body: str = "", policy: HousePolicy | None = None
) -> Verdict:
    """The verdict on a figure, in whatever unit, and its outcome by the house's policy."""
    held = figure.in_unit(requirement.unit)
    own = decide(requirement, held, rule_of(requirement))
    outcome, reasons = settle(requirement, own, ground)
    converted = figure.unit != requirement.unit
    if converted:
        taken = f"{format_number(figure.value)} {UNITS[figure.unit].printed}"
        reasons = (*reasons, f"measured as {taken} and converted exactly to {UNITS[requirement.unit].printed}")
    probability = None if held.u is None else probability_text(probability_of(requirement, held))
    theirs = None if policy is None else decide(requirement, held, policy.rule_for(requirement))
    return _verdict(
        requirement,
        outcome,
        (*reasons, *own.why),
        body=body,
        value=format_number(held.value),
        expanded=None if held.u is None else shown(2 * held.u),
        margin=format_number(own.margin),
        probability=probability,
        guard_band=None if own.band is None else shown(own.band),
        acceptance=acceptance_text(requirement, own.band),
        more_readings="" if ground.blocked or requirement.effect == "trigger" else _more_readings(held, own, theirs),
        converted=converted,
        house=UNSET
        if policy is None or theirs is None
        else _house(requirement, policy.rule_for(requirement), theirs, ground, probability),
        fact=ground.fact,
        u_from="" if held.u is None else ground.u_from,
    )


def unjudged(
    requirement: Requirement,
    outcome: Outcome,
    reasons: tuple[str, ...],
    *,
    body: str = "",
    policy: HousePolicy | None = None,
    fact: str = "",
) -> Verdict:
    """A verdict without a figure: not measured, or not applicable. A trigger that nothing was measured for asks nothing."""
    if outcome == "not_measured" and requirement.effect == "trigger":
        outcome, reasons = (
            "not_applicable",
            (*reasons, "a trigger asks for more samples only where a reading calls them"),
        )
    house: HouseVerdict | UnsetType = UNSET
    if policy is not None:
        rule = policy.rule_for(requirement)
        said = f"house rule ({rule.words}): as by the limit itself, {outcome.replace('_', ' ')}"
        house = HouseVerdict(outcome=outcome, decision=rule.decision, sentence=said)
    return _verdict(requirement, outcome, reasons, body=body, house=house, fact=fact)


def settle(requirement: Requirement, decision: Decision, ground: Ground) -> tuple[Outcome, tuple[str, ...]]:
    """What a decision comes to under the ground it stands on and the requirement's effect, and why."""
    outcome: Outcome = decision.outcome
    reasons = ground.standing.reasons
    if ground.blocked:
        outcome = "undecided"
    elif ground.standing.applies is Applies.UNKNOWN:
        met = outcome == "conforms"
        outcome = outcome if met else "undecided"
        either = "the limit is met whether or not it applies"
        reasons = (*reasons, either if met else "the limit is not shown to be met, and may not apply")
    outcome, effect = by_effect(requirement, outcome)
    return outcome, (*reasons, *ground.reasons, *ground.blocked, *effect)


def by_effect(requirement: Requirement, outcome: Outcome) -> tuple[Outcome, tuple[str, ...]]:
    """The outcome as the requirement's effect has it: a bar only keeps out, and a trigger fails nothing."""
    if requirement.effect == "bar" and outcome == "does_not_conform":
        return "barred", ("failing this limit keeps the ball out of some events, and stops nothing else",)
    if requirement.effect != "trigger":
        return outcome, ()
    if outcome == "conforms":
        return outcome, ("a trigger: where it is not met more samples are required, and nothing fails by it",)
    called = "more samples are required" if outcome == "does_not_conform" else "more samples may be required"
    return "conforms", (f"{called}: the limit is a trigger that is not shown to be met, and nothing fails by it",)


def _more_readings(held: Figure, own: Decision, theirs: Decision | None) -> str:
    for decision in (own, theirs):
        if decision is not None and decision.outcome == "undecided":
            return more_readings_text(decision, held)
    return ""


def _house(
    requirement: Requirement, rule: Rule, decision: Decision, ground: Ground, probability: str | None
) -> HouseVerdict:
    outcome, _ = settle(requirement, decision, ground)
    band = None if decision.band is None else shown(decision.band)
    said = f"house rule ({rule.words}): {outcome.replace('_', ' ')}"
    if ground.blocked:
        said += ", for the reasons that leave the limit itself undecided"
    else:
        applies = ground.standing.applies is Applies.YES
        said += "; " + "; ".join(_standing_words(requirement, decision, probability, applies=applies))
    return HouseVerdict(
        outcome=outcome,
        decision=rule.decision,
        guard_band=band,
        acceptance=acceptance_text(requirement, decision.band),
        sentence=said,
    )


def _standing_words(
    requirement: Requirement, decision: Decision, probability: str | None, *, applies: bool
) -> list[str]:
    """How far a figure lies from the limit, how wide the guard band is, and how likely it conforms."""
    printed = UNITS[requirement.unit].printed
    margin: Fraction = decision.margin
    if margin == 0:
        words = ["on the limit"]
    else:
        words = [f"{format_number(abs(margin))} {printed} {'inside' if margin > 0 else 'outside'} the limit"]
    if not applies:
        words.append("the limit may not apply")
    if decision.band is not None:
        words.append(f"guard band {shown(decision.band)} {printed}")
    elif decision.factor:
        words += list(decision.why)
    if probability is not None:
        words.append(f"probability of conforming {probability}")
    return words


def _verdict(
    requirement: Requirement,
    outcome: Outcome,
    reasons: tuple[str, ...],
    *,
    body: str,
    **figures: Any,
) -> Verdict:
    if requirement.provenance != "read":
        reasons = (*reasons, _PROVENANCE_WORDS[requirement.provenance])
    return Verdict(
        requirement=requirement.id,
        quantity=requirement.quantity,
        outcome=outcome,
        limit=requirement.limit_text,
        unit=requirement.unit,
        decision=requirement.decision,
        effect=requirement.effect,
        per=requirement.per,
        reasons=reasons,
        provenance=requirement.provenance,
        body=body,
        source=requirement.source,
        section=requirement.section,
        **figures,
    )
