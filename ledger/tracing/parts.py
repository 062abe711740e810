"""The parts of a lot, and what is certain of a piece of it.

A lot is drawn from others part by part (see `ledger.line.rows.Descent`). Within a part, several parents are
alternatives: a piece holds one *or* another of them, unless the edge is blended (every piece holds it) or positions
were recorded. So an ancestor is **certain** for a piece when some part of it leads there whichever alternative the
piece took, and **possible** when only some alternative does. Each piece took its alternatives by itself: that two
pieces of one lot are alike is never assumed.

Pure: where the edges come from is an argument.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Literal, Protocol

from ledger.line.rows import Descent

Certainty = Literal["certain", "possible"]


class Edges(Protocol):
    """Where descent is read from. Each method is called once a level, with every lot of the level."""

    def parents(self, lots: Collection[str]) -> Iterable[Descent]:
        """Every edge whose child is one of the lots."""
        ...

    def children(self, lots: Collection[str]) -> Iterable[Descent]:
        """Every edge whose parent is one of the lots."""
        ...


def depth_first(lots: Iterable[str], parents_of: Callable[[str], Iterable[str]]) -> list[str]:
    """The lots and all above them, each after every lot above it (as far as there is no cycle)."""
    done: dict[str, None] = {}
    entered: set[str] = set()
    stack = list(lots)
    while stack:
        lot = stack[-1]
        if lot in entered:
            done.setdefault(stack.pop())
            continue
        entered.add(lot)
        stack.extend(parent for parent in parents_of(lot) if parent not in entered)
    return list(done)


def certain_sets(order: Sequence[str], parts_of: Mapping[str, list[list[Descent]]]) -> dict[str, frozenset[str]]:
    """For each lot of ``order`` (parents first) the lots that every piece of it descends from.

    Over the parts, the union; within a part, what all alternatives share. Lots that would descend from themselves (a
    fault of the records) are gone over until nothing changes, so that a cycle ends. O(edges x ancestors).
    """
    certain: dict[str, frozenset[str]] = dict.fromkeys(order, frozenset())
    changed = True
    while changed:
        changed = False
        for lot in order:
            found = _certain_of(parts_of.get(lot, []), certain)
            if found != certain[lot]:
                certain[lot], changed = found, True
    return certain


def _certain_of(parts: list[list[Descent]], certain: Mapping[str, frozenset[str]]) -> frozenset[str]:
    found: frozenset[str] = frozenset()
    for part in parts:
        found |= frozenset.intersection(*(certain[edge.parent] | {edge.parent} for edge in part))
    return found
