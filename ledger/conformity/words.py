"""A verdict in one plain line, for a terminal, a table or a label's back."""

from __future__ import annotations

from fractions import Fraction

from msgspec import UnsetType

from ledger.conformity.decision import shown
from ledger.conformity.outcome import Verdict
from ledger.line.quantity import QUANTITIES, UNITS

OUTCOME_WORDS = {
    "conforms": "conforms",
    "does_not_conform": "does not conform",
    "undecided": "undecided",
    "not_measured": "not measured",
    "barred": "barred from some events",
    "not_applicable": "not applicable",
}
"""Each outcome in words."""

RULE_WORDS = {
    "simple": "by simple acceptance",
    "guarded": "by guarded acceptance",
    "three_way": "by the rule of three outcomes",
}
"""Each decision rule in words."""

_EXPLAINED = ("undecided", "not_measured", "barred", "not_applicable")


def plain_line(verdict: Verdict) -> str:
    """Quantity, value with U, limit, outcome and rule, margin, probability; the house's judgement; what would decide.

    Unless the limit was read its provenance stands there too, and for an outcome that needs it the first reason.  U is
    rounded up to two digits.
    """
    printed = UNITS[verdict.unit].printed
    line = f"{' '.join(_figure(verdict))}, limit {verdict.limit}: {OUTCOME_WORDS[verdict.outcome]}"
    if verdict.value is not None and verdict.outcome != "barred":
        line += f" {RULE_WORDS[verdict.decision]}"
    if verdict.margin is not None:
        line += f", margin {verdict.margin} {printed}"
    if verdict.probability is not None:
        line += f", probability of conforming {verdict.probability}"
    if verdict.provenance != "read":
        line += f" [limit {'from memory' if verdict.provenance == 'memory' else verdict.provenance}]"
    if verdict.outcome in _EXPLAINED or verdict.effect == "trigger":
        why = next((reason for reason in verdict.reasons if not reason.startswith("guard band")), "")
        line += f" ({why})" if why else ""
    # Where nothing was held against the limit, the house has nothing of its own to say.
    if not isinstance(verdict.house, UnsetType) and verdict.value is not None:
        line += f"; house rule: {OUTCOME_WORDS[verdict.house.outcome]}"
        if verdict.house.guard_band is not None:
            line += f", guard band {verdict.house.guard_band} {printed}"
    return f"{line}; {verdict.more_readings}" if verdict.more_readings else line


def _figure(verdict: Verdict) -> list[str]:
    parts = [QUANTITIES[verdict.quantity].name]
    if verdict.value is not None:
        parts.append(f"{verdict.value} {UNITS[verdict.unit].printed}")
    if verdict.expanded is not None:
        parts.append(f"+/- {shown(Fraction(verdict.expanded), 2)} (U, k = 2)")
    return parts
