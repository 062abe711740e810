"""What a ball's measured values show about a rulebook's requirements.

One verdict a requirement: conforms, does not conform, undecided, not measured, not applicable.  Comparison is exact
(fractions), in the unit that the rulebook prints.  Rules of decision, by requirement:

- ``simple``: the value against the limit, uncertainty left out (JCGM 106:2012, 8.2);
- ``guarded``: conforms only when inside by w = r U, U = 2u; between limit and guard band it is undecided (8.3.2);
- ``three_way``: conformity or nonconformity is shown only beyond 1.65 u (ISO 14253-1:2017; factor for 95 % one-sided).

Clauses are from memory.  Circumference and diameter are never both judged from one reading.
A verdict is the maker's own assessment: ``CAUTION`` goes with every one.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from fractions import Fraction
from typing import Literal

import msgspec

from ledger.conformity.facts import BallFacts, Measured
from ledger.conformity.requirement import Provenance, Requirement
from ledger.conformity.rulebook import Rulebook
from ledger.conformity.scope import Applies, Standing, clock_standing, standing
from ledger.line.quantity import QUANTITIES, UNITS, convert, format_number

Outcome = Literal["conforms", "does_not_conform", "undecided", "not_measured", "not_applicable"]

OUTCOMES: tuple[Outcome, ...] = ("does_not_conform", "undecided", "not_measured", "conforms", "not_applicable")
"""Every outcome, worst first."""

CAUTION = (
    "the maker's own assessment, not an approval; approval rests with the governing body, "
    "and every limit must be checked against the body's current manual"
)

THREE_WAY_FACTOR = Fraction("1.65")
"""Guard band of the three-way rule in standard uncertainties."""

_ALTERNATIVE = {"circumference": "diameter", "diameter": "circumference"}


class Verdict(msgspec.Struct, frozen=True, kw_only=True):
    """One requirement judged for one ball.

    ``value`` and ``margin`` are decimal text in ``unit``, the limit's unit, exact to 18 places; ``margin`` is positive
    inside the limit and negative outside it.  ``converted`` tells that the value was measured in another unit.
    ``fact``: the address of the reading that was judged.
    """

    requirement: str
    quantity: str
    outcome: Outcome
    limit: str
    unit: str
    value: str | None = None
    margin: str | None = None
    converted: bool = False
    decision: str
    reasons: tuple[str, ...] = ()
    provenance: Provenance
    body: str = ""
    source: str
    section: str = ""
    fact: str = ""
    caution: str = CAUTION


class _Compared(msgspec.Struct, frozen=True):
    outcome: Outcome
    value: Fraction
    margin: Fraction
    converted: bool
    reasons: tuple[str, ...]


def judge(requirement: Requirement, facts: BallFacts, *, limited: Iterable[str] = (), body: str = "") -> Verdict:
    """The verdict on one requirement.

    ``limited``: the quantities that the rulebook limits, so that a ball measured by diameter is not called unmeasured
    for want of a circumference.  Where it is unknown whether the requirement applies, a ball that meets it conforms
    either way, and any other is undecided.
    """
    answer = standing(requirement, facts)
    if answer.applies is Applies.NO:
        return _verdict(requirement, "not_applicable", answer.reasons, body=body)
    measured, reasons = _reading(requirement.quantity, facts)
    if measured is None or not measured.usable:
        outcome, why = _without_reading(requirement, facts, measured, frozenset(limited))
        return _verdict(
            requirement, outcome, (*answer.reasons, *why), body=body, fact=measured.fact if measured else ""
        )
    compared = compare(requirement, measured)
    outcome = compared.outcome
    if answer.applies is Applies.UNKNOWN:
        outcome, reasons = _either_way(outcome, answer, reasons)
    else:
        reasons = (*answer.reasons, *reasons)
    return _verdict(
        requirement, outcome, (*reasons, *compared.reasons), body=body, fact=measured.fact, compared=compared
    )


def judge_ball(rulebook: Rulebook, facts: BallFacts) -> list[Verdict]:
    """One verdict for each requirement of the rulebook, in its order."""
    limited = frozenset(requirement.quantity for requirement in rulebook.requirements)
    verdicts = [judge(one, facts, limited=limited, body=rulebook.body) for one in rulebook.requirements]
    return [
        _failed_throughout(one, verdict, rulebook, facts)
        for one, verdict in zip(rulebook.requirements, verdicts, strict=True)
    ]


def overall(verdicts: Iterable[Verdict]) -> Outcome:
    """The worst outcome; not applicable when there is none."""
    outcomes = {verdict.outcome for verdict in verdicts}
    return next((outcome for outcome in OUTCOMES if outcome in outcomes), "not_applicable")


def compare(requirement: Requirement, measured: Measured) -> _Compared:
    """The value against the limit by the requirement's decision rule, exactly, in the limit's unit."""
    value = convert(measured.value, measured.unit, requirement.unit)
    margin = _margin(requirement, value)
    outcome, reasons = _decide(requirement, margin, measured)
    converted = measured.unit != requirement.unit
    if converted:
        shown = f"{format_number(measured.value)} {UNITS[measured.unit].printed}"
        reasons = (f"measured as {shown} and converted exactly to {UNITS[requirement.unit].printed}", *reasons)
    return _Compared(outcome, value, margin, converted, reasons)


def _margin(requirement: Requirement, value: Fraction) -> Fraction:
    sides = []
    if requirement.low is not None:
        sides.append(value - requirement.low)
    if requirement.high is not None:
        sides.append(requirement.high - value)
    return min(sides)


def _decide(requirement: Requirement, margin: Fraction, measured: Measured) -> tuple[Outcome, tuple[str, ...]]:
    inside = margin > 0 if requirement.strict else margin >= 0
    if requirement.decision == "simple":
        at_limit = ("the value lies on the limit",) if margin == 0 else ()
        return ("conforms" if inside else "does_not_conform"), at_limit
    if measured.u is None:
        return "undecided", (f"the {requirement.decision} rule needs an uncertainty, and the reading has none",)
    u = convert(measured.u, measured.unit, requirement.unit)
    if requirement.decision == "guarded":
        band = Fraction(requirement.guard_r) * 2 * u
        fails = not inside
    else:
        band = THREE_WAY_FACTOR * u
        fails = margin < -band or (not inside and band == 0)
    said = f"guard band {format_number(band)} {UNITS[requirement.unit].printed}"
    if fails:
        return "does_not_conform", (said,)
    if inside and margin >= band:
        return "conforms", (said,)
    return "undecided", (said, "the value is too near the limit for its uncertainty")


def _reading(quantity: str, facts: BallFacts) -> tuple[Measured | None, tuple[str, ...]]:
    """The reading that stands for a quantity; a differential may be taken from the two radii of gyration."""
    measured = facts.readings.get(quantity)
    low, high = facts.readings.get("rg_low"), facts.readings.get("rg_high")
    if quantity != "differential" or (measured is not None and measured.usable) or low is None or high is None:
        return measured, ()
    if not (low.usable and high.usable) or low.unit != high.unit:
        return measured, ()
    # The shared gauge may make the two errors add up, so the uncertainties are added, not their squares.
    u = None if low.u_scaled is None or high.u_scaled is None else low.u_scaled + high.u_scaled
    taken = Measured(value_scaled=high.value_scaled - low.value_scaled, unit=low.unit, u_scaled=u, fact=high.fact)
    where = f" ({high.fact} and {low.fact})" if high.fact and low.fact else ""
    return taken, (f"taken as high less low radius of gyration{where}, both as measured",)


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


def _either_way(outcome: Outcome, answer: Standing, reasons: tuple[str, ...]) -> tuple[Outcome, tuple[str, ...]]:
    if outcome == "conforms":
        return outcome, (*answer.reasons, "the limit is met whether or not it applies", *reasons)
    return "undecided", (*answer.reasons, "the limit is not shown to be met, and may not apply", *reasons)


def _failed_throughout(requirement: Requirement, verdict: Verdict, rulebook: Rulebook, facts: BallFacts) -> Verdict:
    """A ball whose date is unknown does not conform when it fails under every limit that the date could select."""
    if verdict.outcome != "undecided" or clock_standing(requirement, facts).applies is not Applies.UNKNOWN:
        return verdict
    family = sorted(
        (one for one in rulebook.requirements if one is requirement or one.same_family(requirement)),
        key=lambda one: (one.effective_from is not None, one.effective_from),
    )
    if not _without_gap(family) or any(_scope_unknown(one, facts) for one in family):
        return verdict
    measured, _ = _reading(requirement.quantity, facts)
    if measured is None or any(compare(one, measured).outcome != "does_not_conform" for one in family):
        return verdict
    reasons = (*verdict.reasons, "the value fails under every limit that the date could select")
    return msgspec.structs.replace(verdict, outcome="does_not_conform", reasons=reasons)


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


def _verdict(
    requirement: Requirement,
    outcome: Outcome,
    reasons: tuple[str, ...],
    *,
    body: str,
    fact: str = "",
    compared: _Compared | None = None,
) -> Verdict:
    if requirement.provenance != "read":
        reasons = (*reasons, _PROVENANCE_WORDS[requirement.provenance])
    return Verdict(
        requirement=requirement.id,
        quantity=requirement.quantity,
        outcome=outcome,
        limit=requirement.limit_text,
        unit=requirement.unit,
        value=None if compared is None else format_number(compared.value),
        margin=None if compared is None else format_number(compared.margin),
        converted=compared is not None and compared.converted,
        decision=requirement.decision,
        reasons=reasons,
        provenance=requirement.provenance,
        body=body,
        source=requirement.source,
        section=requirement.section,
        fact=fact,
    )


_PROVENANCE_WORDS = {
    "second-hand": "the limit is second-hand: it was read where others quote the body",
    "memory": "the limit is from memory: it was not read anywhere",
}
