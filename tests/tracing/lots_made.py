"""Small plants for tracing: edges held in memory, and every world that they allow."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from itertools import product

from hypothesis import strategies as st

from ledger.line.lineage import alternatives
from ledger.line.rows import Descent


def edge(child: str, parent: str, part: str = "block", **more: int | bool | None) -> Descent:
    """An edge of one piece, unless said otherwise."""
    columns: dict[str, int | bool | None] = {"blended": False, "amount": 1, "first": None, "last": None}
    return Descent(descent=f"{child}<{parent}/{part}", child=child, parent=parent, part=part, **(columns | more))  # type: ignore[arg-type]  # of the columns' types


class HeldEdges:
    """Edges in memory, counting how often they are asked for."""

    def __init__(self, *edges: Descent) -> None:
        """Hold the edges."""
        self.edges = edges
        self.questions = 0

    def parents(self, lots: Collection[str]) -> Iterable[Descent]:
        """Edges up from the lots."""
        self.questions += 1
        return [one for one in self.edges if one.child in lots]

    def children(self, lots: Collection[str]) -> Iterable[Descent]:
        """Edges down from the lots."""
        self.questions += 1
        return [one for one in self.edges if one.parent in lots]


def worlds(edges: Collection[Descent], lot: str, place: int | None = None) -> Iterator[frozenset[str]]:
    """The ancestors of a piece of the lot in every world: each piece takes one alternative of each part, by itself."""
    parts = alternatives([one for one in edges if one.child == lot], place)
    taken = [[above | {one.parent} for one in part for above in set(worlds(edges, one.parent))] for part in parts]
    for choice in product(*taken):
        yield frozenset().union(*choice)


@st.composite
def plants(draw: st.DrawFn) -> list[Descent]:
    """Up to six lots L0..L5, each made of earlier ones, in up to two parts, some blended, some with positions."""
    found: dict[str, Descent] = {}
    for child in range(1, draw(st.integers(2, 6))):
        for parent in range(max(0, child - 3), child):
            for part in draw(st.sets(st.sampled_from("ab"), max_size=2)):
                first = draw(st.none() | st.integers(1, 3))
                one = edge(
                    f"L{child}",
                    f"L{parent}",
                    part,
                    blended=draw(st.integers(0, 3)) == 0,
                    first=first,
                    last=None if first is None else draw(st.integers(first, 3)),
                )
                found[one.descent] = one
    return list(found.values())
