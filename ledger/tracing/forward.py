"""Forward to the owner: every lot that holds something of a lot, `certain` or `possible`.

A lot below is certain when every piece of it descends from the lot traced, by the rule in `parts`. Balls follow by
their shell lot; a ball whose position was recorded may be surer than its lot, or clear of the suspect altogether:
`ForwardTrace.of_unit`. Containment takes in the possible ones.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field

from ledger.line.lineage import alternatives
from ledger.line.rows import Descent
from ledger.tracing.back import trace_back
from ledger.tracing.parts import Certainty, Edges, depth_first


@dataclass(frozen=True, slots=True)
class Descendant:
    """A lot below the traced one; ``level``: the fewest steps down to it."""

    lot: str
    certainty: Certainty
    level: int


@dataclass(frozen=True, slots=True)
class ForwardTrace:
    """What holds something of a lot: by level, then by lot id."""

    lot: str
    descendants: tuple[Descendant, ...]
    _above: Mapping[str, list[Descent]] = field(repr=False)
    _certainties: Mapping[str, Certainty] = field(repr=False)

    def certainty_of(self, lot: str) -> Certainty | None:
        """How surely a lot holds something of the traced one; certain for itself, None where it holds nothing."""
        return self._certainties.get(lot)

    def of_unit(self, lot: str, place: int | None) -> Certainty | None:
        """How surely a ball of shell lot ``lot`` descends from the traced lot; ``place`` is its position, if known.

        Asks nothing: the edges that the walk read are enough.
        """
        if place is None or lot == self.lot or lot not in self._above:
            return self._certainties.get(lot)
        parts = alternatives(self._above[lot], place)
        certain = any(all(self._certainties.get(edge.parent) == "certain" for edge in part) for part in parts)
        if certain:
            return "certain"
        return "possible" if any(edge.parent in self._certainties for part in parts for edge in part) else None


def trace_forward(edges: Edges, lot: str) -> ForwardTrace:
    """Every lot below a lot. Two questions a level, and time in the edges touched, whatever the size of the book."""
    levels = {lot: 0}
    above: dict[str, list[Descent]] = {}
    waiting = [lot]
    while waiting:
        below = sorted({edge.child for edge in edges.children(waiting)} - levels.keys())
        level = levels[waiting[0]] + 1
        levels.update(dict.fromkeys(below, level))
        found: defaultdict[str, list[Descent]] = defaultdict(list)
        for edge in edges.parents(below) if below else ():
            found[edge.child].append(edge)
        above.update(found)
        waiting = below
    sure = _certain_below(lot, above)
    certainties: dict[str, Certainty] = {one: "certain" if one in sure else "possible" for one in levels}
    descendants = tuple(
        Descendant(one, certainties[one], level)
        for one, level in sorted(levels.items(), key=lambda item: (item[1], item[0]))
        if one != lot
    )
    return ForwardTrace(lot, descendants, above, certainties)


def _certain_below(lot: str, above: Mapping[str, list[Descent]]) -> set[str]:
    parts_of = {child: alternatives(edges) for child, edges in above.items()}
    order = depth_first(parts_of, lambda one: [edge.parent for edge in above.get(one, []) if edge.parent in above])
    sure, before = {lot}, 0
    # One round settles it; a second one only where records make a lot descend from itself.
    while len(sure) != before:
        before = len(sure)
        for child in order:
            if any(all(edge.parent in sure for edge in part) for part in parts_of.get(child, [])):
                sure.add(child)
    return sure


def unit_certainty(edges: Edges, unit_lot: str, place: int | None, lot: str) -> Certainty | None:
    """How surely one ball, of shell lot ``unit_lot`` and position ``place`` if known, descends from a lot.

    None where it does not. For many balls of one suspect, `trace_forward` and `ForwardTrace.of_unit` ask far less.
    """
    return trace_back(edges, unit_lot, place).certainty_of(lot)
