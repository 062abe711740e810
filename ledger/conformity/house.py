"""The plant's own rule of decision, applied beside the body's.

A body's limit is judged by the rule that the requirement states.  A plant may hold itself to more: its policy says by
which rule, for all quantities or for some, and its answer is shown beside the body's and never in its place.
"""

from __future__ import annotations

from collections.abc import Mapping

import msgspec

from ledger.conformity.requirement import DecisionRule, Requirement


class Rule(msgspec.Struct, frozen=True):
    """A decision rule; ``guard_r`` is the guard band of ``guarded`` as a multiple of U = 2u, as decimal text."""

    decision: DecisionRule
    guard_r: str = "1"

    @property
    def words(self) -> str:
        """The rule as a report names it."""
        if self.decision == "guarded":
            return f"guarded acceptance, w = {self.guard_r} U"
        return "simple acceptance" if self.decision == "simple" else "three outcomes, 1.65 u"


class HousePolicy(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The rule of the house, and the quantities for which it is another. ``guard_r``: see ``Rule``."""

    decision: DecisionRule
    guard_r: str = "1"
    quantities: Mapping[str, Rule] = msgspec.field(default_factory=dict)

    def rule_for(self, requirement: Requirement) -> Rule:
        """The house's rule for a requirement, by its quantity."""
        return self.quantities.get(requirement.quantity) or Rule(self.decision, self.guard_r)
