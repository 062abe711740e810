"""Back to the drum: every lot that a ball or a lot descends from, `certain` or `possible`.

The rule of certainty is in `parts`. The walk asks for the edges of a whole level at once, so it costs one question a
level, however many lots the level has.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from ledger.line.lineage import alternatives
from ledger.line.rows import Descent
from ledger.tracing.parts import Certainty, Edges, certain_sets, depth_first


@dataclass(frozen=True, slots=True)
class Ancestor:
    """A lot above the traced one.

    ``level``: the fewest steps up to it, 1 for what the traced lot was made from.
    ``drawn``: the edges by which lots of this trace took from it: their part, amount (grams, or pieces from blocks on)
    and positions.
    """

    lot: str
    certainty: Certainty
    level: int
    drawn: tuple[Descent, ...]


@dataclass(frozen=True, slots=True)
class Trace:
    """What a lot, or its piece at ``place``, descends from: by level, then by lot id."""

    lot: str
    place: int | None
    ancestors: tuple[Ancestor, ...]

    @property
    def certain(self) -> frozenset[str]:
        """The lots that it descends from for certain."""
        return frozenset(one.lot for one in self.ancestors if one.certainty == "certain")

    @property
    def possible(self) -> frozenset[str]:
        """The lots that it descends from or not: the records do not tell."""
        return frozenset(one.lot for one in self.ancestors if one.certainty == "possible")

    def certainty_of(self, lot: str) -> Certainty | None:
        """How surely it descends from a lot; certain for the lot itself, None where it does not."""
        if lot == self.lot:
            return "certain"
        return next((one.certainty for one in self.ancestors if one.lot == lot), None)


def trace_back(edges: Edges, lot: str, place: int | None = None) -> Trace:
    """Every ancestor of a lot, or of its piece at ``place`` (1-based, where positions were recorded).

    One call of ``edges.parents`` a level. A lot without edges has no ancestors, be it unknown or a drum.
    """
    parts_of: dict[str, list[list[Descent]]] = {}
    levels: dict[str, int] = {lot: 0}
    waiting = [lot]
    while waiting:
        found: defaultdict[str, list[Descent]] = defaultdict(list)
        for edge in edges.parents(waiting):
            found[edge.child].append(edge)
        level, waiting = levels[waiting[0]] + 1, []
        for child, above in sorted(found.items()):
            parts_of[child] = alternatives(above, place if child == lot else None)
            for edge in (edge for part in parts_of[child] for edge in part):
                if edge.parent not in levels:
                    levels[edge.parent] = level
                    waiting.append(edge.parent)
    return _trace(lot, place, parts_of, levels)


def _trace(lot: str, place: int | None, parts_of: dict[str, list[list[Descent]]], levels: dict[str, int]) -> Trace:
    drawn: defaultdict[str, list[Descent]] = defaultdict(list)
    for parts in parts_of.values():
        for edge in (edge for part in parts for edge in part):
            drawn[edge.parent].append(edge)
    order = depth_first([lot], lambda one: [edge.parent for part in parts_of.get(one, []) for edge in part])
    certain = certain_sets(order, parts_of)[lot]
    ancestors = [
        Ancestor(
            lot=name,
            certainty="certain" if name in certain else "possible",
            level=level,
            drawn=tuple(sorted(drawn[name], key=lambda edge: edge.descent)),
        )
        for name, level in sorted(levels.items(), key=lambda item: (item[1], item[0]))
        if name != lot
    ]
    return Trace(lot, place, tuple(ancestors))
