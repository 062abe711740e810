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
    """What holds something of a lot, or of one of several: by level, then by lot id. ``lots``: those traced from."""

    lots: frozenset[str]
    descendants: tuple[Descendant, ...]
    _above: Mapping[str, list[Descent]] = field(repr=False)
    _certainties: Mapping[str, Certainty] = field(repr=False)

    def certainty_of(self, lot: str) -> Certainty | None:
        """How surely a lot holds something of what is traced, itself too; None where it holds nothing."""
        return self._certainties.get(lot)

    def of_unit(self, lot: str, place: int | None) -> Certainty | None:
        """How surely a ball of shell lot ``lot`` descends from the traced lot; ``place`` is its position, if known.

        Asks nothing: the edges that the walk read are enough.
        """
        if place is None or lot not in self._above:
            return self._certainties.get(lot)
        return self.from_above(lot, place) or ("possible" if lot in self.lots else None)

    def by_place(self, lot: str) -> bool:
        """Whether balls of a lot may descend otherwise than it does, by their positions in it."""
        edges = self._above.get(lot, ())
        ends = {end for edge in edges if edge.first is not None for end in (edge.first, (edge.last or 0) + 1)}
        return any(self.of_unit(lot, end) != self._certainties.get(lot) for end in {*ends, 1})

    def from_above(self, lot: str, place: int | None) -> Certainty | None:
        """How surely a piece of a lot descends by the lots that it is made from; None where it does not, or none is known."""
        parts = alternatives(self._above.get(lot, ()), place)
        certain = any(all(self._certainties.get(edge.parent) == "certain" for edge in part) for part in parts)
        if certain:
            return "certain"
        return "possible" if any(edge.parent in self._certainties for part in parts for edge in part) else None


def trace_forward(edges: Edges, lot: str) -> ForwardTrace:
    """Every lot below a lot. Two questions a level, and time in the edges touched, whatever the size of the book."""
    return trace_from(edges, {lot: "certain"})


def trace_from(edges: Edges, seeds: Mapping[str, Certainty]) -> ForwardTrace:
    """Every lot below some lots; a *possible* one is a lot of which some pieces may be what is traced. Cost as above."""
    levels = dict.fromkeys(seeds, 0)
    above: dict[str, list[Descent]] = {}
    # What is suspected in part may be below another of the lots, and certain by that.
    in_part = sorted(lot for lot, certainty in seeds.items() if certainty == "possible")
    for edge in edges.parents(in_part) if in_part else ():
        above.setdefault(edge.child, []).append(edge)
    waiting, level = sorted(seeds), 0
    while waiting:
        below = sorted({edge.child for edge in edges.children(waiting)} - levels.keys())
        level += 1
        levels.update(dict.fromkeys(below, level))
        found: defaultdict[str, list[Descent]] = defaultdict(list)
        for edge in edges.parents(below) if below else ():
            found[edge.child].append(edge)
        above.update(found)
        waiting = below
    sure = _certain_below({lot for lot, certainty in seeds.items() if certainty == "certain"}, above)
    certainties: dict[str, Certainty] = {one: "certain" if one in sure else "possible" for one in levels}
    descendants = tuple(
        Descendant(one, certainties[one], level)
        for one, level in sorted(levels.items(), key=lambda item: (item[1], item[0]))
        if one not in seeds
    )
    return ForwardTrace(frozenset(seeds), descendants, above, certainties)


def _certain_below(lots: set[str], above: Mapping[str, list[Descent]]) -> set[str]:
    parts_of = {child: alternatives(edges) for child, edges in above.items()}
    order = depth_first(parts_of, lambda one: [edge.parent for edge in above.get(one, []) if edge.parent in above])
    sure, before = set(lots), 0
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
