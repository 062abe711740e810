"""A verdict in one plain line, for a terminal, a table or a label's back."""

from __future__ import annotations

from ledger.conformity.verdict import Verdict
from ledger.line.quantity import QUANTITIES, UNITS

OUTCOME_WORDS = {
    "conforms": "conforms",
    "does_not_conform": "does not conform",
    "undecided": "undecided",
    "not_measured": "not measured",
    "not_applicable": "not applicable",
}
"""Each outcome in words."""


def plain_line(verdict: Verdict) -> str:
    """Quantity, value, limit, margin, outcome and, unless the limit was read, its provenance; then the first reason."""
    printed = UNITS[verdict.unit].printed
    parts = [QUANTITIES[verdict.quantity].name]
    if verdict.value is not None:
        parts.append(f"{verdict.value} {printed}")
    line = f"{' '.join(parts)}, limit {verdict.limit}: {OUTCOME_WORDS[verdict.outcome]}"
    if verdict.margin is not None:
        line += f", margin {verdict.margin} {printed}"
    if verdict.provenance != "read":
        line += f" [limit {'from memory' if verdict.provenance == 'memory' else verdict.provenance}]"
    explained = verdict.outcome in ("undecided", "not_measured", "not_applicable") and verdict.reasons
    return f"{line} ({verdict.reasons[0]})" if explained else line
