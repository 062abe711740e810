"""What a ball may be made of: every combination of block, core compound and shell colours that the records allow.

Lots within one part of a lot are alternatives (see `parts`); a combination takes one of each.  So a lot that is in every
combination is certain, and one that is in some is possible, as `back` finds them.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from ledger.line.lineage import HEIRS, alternatives
from ledger.line.rows import Descent
from ledger.tracing.parts import Edges

MOST = 64
"""Combinations that are told apart."""

_ENOUGH = 100 * MOST
"""Those looked at, some of them alike, so that many parts with many alternatives come to an end."""


class Block(NamedTuple):
    """A block lot and the batch that it was moulded from."""

    lot: str
    batch: str


class Core(NamedTuple):
    """A core lot, its core compound, and the block in it."""

    lot: str
    batch: str
    block: Block


class Colour(NamedTuple):
    """A batch or material poured into the shell, and how many grams of it the shell lot drew."""

    lot: str
    grams: int


class Making(NamedTuple):
    """One combination: the core, with its block, and the colours of the shell."""

    core: Core
    colours: tuple[Colour, ...]

    @property
    def lots(self) -> frozenset[str]:
        """Every lot that is named in it."""
        core = self.core
        return frozenset((core.lot, core.batch, *core.block, *(colour.lot for colour in self.colours)))


class Makings:
    """The combinations of balls, from the edges between lots; what was asked for once is remembered."""

    def __init__(self, edges: Edges) -> None:
        """One question a lot that was not seen before."""
        self._edges = edges
        self._above: dict[str, list[Descent]] = {}
        self._cores: dict[str, list[Core]] = {}

    def of(self, lot: str, place: int | None = None) -> tuple[Making, ...]:
        """The combinations of the piece of a shell lot at ``place``, at most ``MOST`` + 1; none where a part is missing."""
        found = dict.fromkeys(self._shell(lot, place, frozenset()))
        return tuple(itertools.islice(found, MOST + 1))

    def placed(self, lot: str) -> bool:
        """Whether positions of the lot's pieces were recorded, so that places tell them apart."""
        return any(edge.first is not None for edge in self._parents(lot))

    def _shell(self, lot: str, place: int | None, below: frozenset[str]) -> Iterator[Making]:
        parts = self._parts(lot, place)
        heirs = _heirs(parts, below | {lot})
        if heirs:
            for parent in heirs:
                yield from self._shell(parent, None, below | {lot})
            return
        cores = (core for edge in _of_part(parts, "core") for core in self._core(edge.parent))
        colours = [
            [Colour(edge.parent, edge.amount) for edge in part] for part in parts if part[0].part.startswith("colour:")
        ]
        found = (Making(core, tuple(sorted(poured))) for core in cores for poured in itertools.product(*colours))
        yield from itertools.islice(found, _ENOUGH)

    def _core(self, lot: str) -> list[Core]:
        found = self._cores.get(lot)
        if found is None:
            found = self._cores[lot] = list(dict.fromkeys(itertools.islice(self._cores_of(lot, frozenset()), _ENOUGH)))
        return found

    def _cores_of(self, lot: str, below: frozenset[str]) -> Iterator[Core]:
        parts = self._parts(lot)
        heirs = _heirs(parts, below | {lot})
        for parent in heirs:
            yield from self._cores_of(parent, below | {lot})
        if not heirs:
            for piece, compound in itertools.product(_of_part(parts, "block"), _of_part(parts, "compound")):
                for block in self._blocks_of(piece.parent, frozenset()):
                    yield Core(lot, compound.parent, block)

    def _blocks_of(self, lot: str, below: frozenset[str]) -> Iterator[Block]:
        parts = self._parts(lot)
        heirs = _heirs(parts, below | {lot})
        for parent in heirs:
            yield from self._blocks_of(parent, below | {lot})
        if not heirs:
            yield from (Block(lot, edge.parent) for edge in _of_part(parts, "compound"))

    def _parts(self, lot: str, place: int | None = None) -> list[list[Descent]]:
        return alternatives(self._parents(lot), place)

    def _parents(self, lot: str) -> list[Descent]:
        found = self._above.get(lot)
        if found is None:
            found = self._above[lot] = sorted(self._edges.parents([lot]), key=lambda edge: edge.descent)
        return found


def _of_part(parts: Iterable[list[Descent]], name: str) -> list[Descent]:
    return [edge for part in parts for edge in part if edge.part == name]


def _heirs(parts: Iterable[list[Descent]], below: frozenset[str]) -> list[str]:
    """The lots that a lot goes on from; a lot that would go on from itself (a fault of the records) is left out."""
    return [edge.parent for part in parts for edge in part if edge.part in HEIRS and edge.parent not in below]
