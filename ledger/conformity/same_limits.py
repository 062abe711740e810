"""Whether two editions limit a quantity alike, so that what was judged by the one holds under the other."""

from __future__ import annotations

import msgspec

from ledger.conformity.requirement import Requirement
from ledger.conformity.rulebook import Rulebook


def same_limits(one: Rulebook, two: Rulebook, quantity: str) -> bool:
    """Whether every requirement on the quantity has the same limit, scope, dates, method, rule and effect in both.

    Names, sources, sections and notes may differ: nothing is judged by them.
    """
    return (one.made_event, _limits(one, quantity)) == (two.made_event, _limits(two, quantity))


def _limits(rulebook: Rulebook, quantity: str) -> frozenset[Requirement]:
    return frozenset(
        msgspec.structs.replace(one, id="", row="", source="", section="", note="", provenance="read")
        for one in rulebook.requirements
        if one.quantity == quantity
    )
