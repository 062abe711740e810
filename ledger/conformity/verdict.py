"""What a ball's measured values show about a rulebook's requirements.

One verdict a requirement: conforms, does not conform, undecided, not measured, not applicable, or barred: it fails a
limit that keeps it out of some events and no more.  A requirement's own rule decides (see ``decision``); where the
house has a policy its answer stands beside, and never in place of it.

Circumference and diameter are never both judged from one reading.  What is judged over a lot is in ``lot_mean``.
A verdict is the maker's own assessment: ``CAUTION`` goes with every one.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable

import msgspec
from msgspec import UnsetType

from ledger.conformity.decision import decide, figure_of, rule_of
from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.house import HousePolicy, Rule
from ledger.conformity.judged_figure import Ground, by_effect, judge_reading, unjudged
from ledger.conformity.method import conditions_of, other_definition
from ledger.conformity.outcome import CAUTION, OUTCOMES, HouseVerdict, Outcome, Verdict, house_overall, overall
from ledger.conformity.requirement import Requirement
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.scope import Applies, clock_standing, standing
from ledger.line.quantity import QUANTITIES

__all__ = [
    "CAUTION",
    "OUTCOMES",
    "HouseVerdict",
    "Outcome",
    "Verdict",
    "house_overall",
    "judge",
    "judge_ball",
    "overall",
]

_ALTERNATIVE = {"circumference": "diameter", "diameter": "circumference"}

_JUDGED_ELSEWHERE = {
    "lot_mean": "judged over the lot, by the mean of its balls, and not for one ball",
    "component": "judged for each component, and not for the ball",
    "model": "judged once for the model, and not for each ball",
}

_THROUGHOUT = "the value fails under every limit that the date could select"


def judge(
    requirement: Requirement,
    facts: BallFacts,
    *,
    limited: Iterable[str] = (),
    body: str = "",
    policy: HousePolicy | None = None,
) -> Verdict:
    """The verdict on one requirement.

    ``limited``: the quantities that the rulebook limits, so that a ball measured by diameter is not called unmeasured
    for want of a circumference.  Where it is unknown whether the requirement applies, a ball that meets it conforms
    either way, and any other is undecided.  What is not judged ball by ball is not applicable to one.
    """
    answer = standing(requirement, facts)
    if answer.applies is Applies.NO:
        return unjudged(requirement, "not_applicable", answer.reasons, body=body, policy=policy)
    if requirement.per != "ball":
        elsewhere = (_JUDGED_ELSEWHERE[requirement.per],)
        return unjudged(requirement, "not_applicable", elsewhere, body=body, policy=policy)
    measured, taken = reading_of(requirement.quantity, facts)
    if measured is None or not measured.usable:
        outcome, why = _without_reading(requirement, facts, measured, frozenset(limited))
        fact = measured.fact if measured else ""
        return unjudged(requirement, outcome, (*answer.reasons, *why), body=body, policy=policy, fact=fact)
    return judge_reading(requirement, measured, ground=Ground(standing=answer, reasons=taken), body=body, policy=policy)


def judge_ball(rulebook: Rulebook, facts: BallFacts, policy: HousePolicy | None = None) -> list[Verdict]:
    """One verdict for each requirement of the rulebook, in its order; by the house's policy too where one is given."""
    limited = limited_by(rulebook)
    return [judge_within(rulebook, one, facts, limited=limited, policy=policy) for one in rulebook.requirements]


def limited_by(rulebook: Rulebook) -> frozenset[str]:
    """The quantities that a rulebook limits."""
    return frozenset(requirement.quantity for requirement in rulebook.requirements)


def judge_within(
    rulebook: Rulebook,
    requirement: Requirement,
    facts: BallFacts,
    *,
    limited: frozenset[str],
    policy: HousePolicy | None = None,
) -> Verdict:
    """The verdict on one requirement of a rulebook, as `judge_ball` gives it; ``limited``: see `limited_by`."""
    verdict = judge(requirement, facts, limited=limited, body=rulebook.body, policy=policy)
    return _failed_throughout(requirement, verdict, rulebook, facts, policy)


def reading_of(quantity: str, facts: BallFacts) -> tuple[Measured | None, tuple[str, ...]]:
    """The reading that stands for a quantity; a differential may be taken from the two radii of gyration."""
    measured = facts.readings.get(quantity)
    if quantity != "differential" or (measured is not None and measured.usable):
        return measured, ()
    low, high = facts.readings.get("rg_low"), facts.readings.get("rg_high")
    if low is None or high is None:
        return measured, ()
    if not (low.usable and high.usable) or low.unit != high.unit:
        return measured, ()
    # The shared gauge may make the two errors add up, so the uncertainties are added, not their squares.
    u = None if low.u_scaled is None or high.u_scaled is None else low.u_scaled + high.u_scaled
    taken = Measured(
        value_scaled=high.value_scaled - low.value_scaled,
        unit=low.unit,
        u_scaled=u,
        readings=min(low.readings, high.readings),
        u_from="the uncertainties of the two radii of gyration, added",
        gauge=high.gauge,
        temperature_c=_agreed(low.temperature_c, high.temperature_c),
        fact=high.fact,
    )
    where = f" ({high.fact} and {low.fact})" if high.fact and low.fact else ""
    return taken, (f"taken as high less low radius of gyration{where}, both as measured",)


def _agreed(one: str | None, other: str | None) -> str | None:
    return one if one == other else None


def _without_reading(
    requirement: Requirement, facts: BallFacts, measured: Measured | None, limited: frozenset[str]
) -> tuple[Outcome, tuple[str, ...]]:
    name = QUANTITIES[requirement.quantity].name
    other = _ALTERNATIVE.get(requirement.quantity)
    if other is not None and (reading := facts.readings.get(other)) is not None and reading.usable:
        if other in limited:
            return "not_applicable", (
                f"judged by {other}, which is what was measured; one is never worked out of the other",
            )
        return "not_measured", (
            f"{other} was measured, this rulebook limits {name}, and one is never worked out of the other",
        )
    if measured is None:
        return "not_measured", (f"{name} has no reading",)
    return "not_measured", (f"the reading of {name} is not usable: {measured.why_unusable or 'no reason on record'}",)


def _failed_throughout(
    requirement: Requirement, verdict: Verdict, rulebook: Rulebook, facts: BallFacts, policy: HousePolicy | None
) -> Verdict:
    """A ball whose date is unknown does not conform when it fails under every limit that the date could select."""
    house = None if isinstance(verdict.house, UnsetType) else verdict.house
    if verdict.outcome != "undecided" and (house is None or house.outcome != "undecided"):
        return verdict
    if clock_standing(requirement, facts).applies is not Applies.UNKNOWN:
        return verdict
    family = sorted(
        (one for one in rulebook.requirements if one is requirement or one.same_family(requirement)),
        key=lambda one: (one.effective_from is not None, one.effective_from),
    )
    if not _without_gap(family) or any(_scope_unknown(one, facts) for one in family):
        return verdict
    failed, _ = by_effect(requirement, "does_not_conform")
    if house is not None and policy is not None and _fails(family, facts, policy.rule_for):
        said = f"house rule ({policy.rule_for(requirement).words}): {failed.replace('_', ' ')}; {_THROUGHOUT}"
        house = msgspec.structs.replace(house, outcome=failed, sentence=said)
        verdict = msgspec.structs.replace(verdict, house=house)
    if verdict.outcome != "undecided" or not _fails(family, facts, rule_of):
        return verdict
    reasons = (*verdict.reasons, _THROUGHOUT)
    return msgspec.structs.replace(verdict, outcome=failed, more_readings="", reasons=reasons)


def _fails(family: list[Requirement], facts: BallFacts, rule: Callable[[Requirement], Rule]) -> bool:
    """Whether the reading decides, and fails, under every requirement of a family by the rule given."""
    measured, _ = reading_of(family[0].quantity, facts)
    if measured is None:
        return False
    figure = figure_of(measured)
    return not any(
        other_definition(one, measured)
        or conditions_of(one, measured).otherwise
        or decide(one, figure.in_unit(one.unit), rule(one)).outcome != "does_not_conform"
        for one in family
    )


def _without_gap(family: list[Requirement]) -> bool:
    if family[0].effective_from is not None or family[-1].effective_to is not None:
        return False
    pairs = itertools.pairwise(family)
    return all(
        one.effective_to and two.effective_from and (two.effective_from - one.effective_to).days == 1
        for one, two in pairs
    )


def _scope_unknown(requirement: Requirement, facts: BallFacts) -> bool:
    undated = msgspec.structs.replace(requirement, effective_from=None, effective_to=None)
    return standing(undated, facts).applies is not Applies.YES
