"""The web of lots around one: every lot above it, below it or both, the lines between them, and how surely.

Built on the walks of `ledger.tracing`.  A line says how much the lower lot drew from the upper one: grams of materials and
batches, pieces from blocks on; all lines from a lot add up to what its account has as used, but for balls begun.

A **line** is certain where every piece that is traced took this way, and possible where it may have taken another.  A
**lot** can be certain though each line to it is only possible: every way leads there.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Literal

import msgspec

from ledger.application.histories import RuleHolds, holds_on
from ledger.application.lot_account import known_lot_row
from ledger.line.lineage import alternatives
from ledger.line.lots import left_of
from ledger.line.rows import Descent, Lot
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, rows_with
from ledger.tracing.back import trace_back
from ledger.tracing.forward import trace_forward
from ledger.tracing.parts import Certainty, Edges

Direction = Literal["up", "down", "both"]
BY_WEIGHT = frozenset({"material", "batch"})
"""The stages whose amounts are grams."""

MOST = 400
"""Lots that are walked for a page; a walk that would find more stops, and says so."""

MOST_OF_FILE = 50_000
"""Lots that are walked for a file of lines."""


class WebLot(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A lot of the web and its account: what was used of a shell lot are its balls, and the lots split off from it."""

    lot: str
    stage: str
    certainty: Certainty
    made: int
    used: int
    left: int
    began_ms: int
    material: str | None = None
    model: str | None = None
    open_holds: tuple[str, ...] = ()

    @property
    def by_weight(self) -> bool:
        """Whether amounts of it are grams."""
        return self.stage in BY_WEIGHT


class WebLine(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a lot drew from another, as which part; ``first`` to ``last``: which of its pieces, where it was recorded."""

    parent: str
    child: str
    part: str
    amount: int
    certainty: Certainty
    first: int | None = None
    last: int | None = None


class TraceWeb(msgspec.Struct, frozen=True, kw_only=True):
    """Lots and lines, the lot itself first. ``whole``: the walk came to its ends."""

    lot: str
    direction: Direction
    lots: tuple[WebLot, ...]
    lines: tuple[WebLine, ...]
    whole: bool

    def lot_of(self, name: str) -> WebLot:
        """The lot of that id, which must be one of them."""
        return next(one for one in self.lots if one.lot == name)

    def from_lot(self, name: str) -> tuple[WebLine, ...]:
        """The lines from a lot to what drew from it, as far as they are in the web."""
        return tuple(line for line in self.lines if line.parent == name)


class _Walked(Edges):
    """Edges as a walk asks for them, kept; it goes on, up or down, until it would be from more than ``most`` lots.

    Down, what the lots of a level are made from is always read: how surely they descend rests on it.
    """

    def __init__(self, edges: Edges, most: int, *, down: bool) -> None:
        self._edges = edges
        self._most = most
        self._down = down
        self._met: set[str] = set()
        self.seen: dict[str, Descent] = {}
        self.stopped = False

    def parents(self, lots: Collection[str]) -> Iterable[Descent]:
        return self._keep(self._edges.parents(lots)) if self._down or self._goes_on(lots) else []

    def children(self, lots: Collection[str]) -> Iterable[Descent]:
        return self._keep(self._edges.children(lots)) if self._goes_on(lots) else []

    def _goes_on(self, lots: Collection[str]) -> bool:
        self._met.update(lots)
        self.stopped |= len(self._met) > self._most
        return not self.stopped

    def _keep(self, edges: Iterable[Descent]) -> list[Descent]:
        found = list(edges)
        self.seen.update({edge.descent: edge for edge in found})
        return found


def trace_web(
    reader: Reader, lot: str, direction: Direction = "both", *, place: int | None = None, most: int = MOST
) -> TraceWeb:
    """The web around a lot, or above its piece at ``place``. Raises NotFound. A query or two a level, and four more."""
    known_lot_row(reader, lot)
    sure: dict[str, Certainty] = {lot: "certain"}
    lines: dict[str, WebLine] = {}
    stopped = False
    if direction != "down":
        walked = _Walked(StoredEdges(reader), most, down=False)
        above = trace_back(walked, lot, place)
        sure |= {one.lot: one.certainty for one in above.ancestors}
        drawn = {edge.descent: edge for one in above.ancestors for edge in one.drawn}
        lines |= _lines(drawn.values(), sure, by="child", lot=lot, place=place)
        stopped |= walked.stopped
    if direction != "up":
        walked = _Walked(StoredEdges(reader), most, down=True)
        below = trace_forward(walked, lot)
        found: dict[str, Certainty] = {lot: "certain", **{one.lot: one.certainty for one in below.descendants}}
        every = [edge for edge in walked.seen.values() if edge.child in found]
        inside = {edge.descent for edge in every if edge.parent in found}
        lines |= {name: line for name, line in _lines(every, found, by="parent").items() if name in inside}
        sure |= found
        stopped |= walked.stopped
    lots = _lots(reader, sure)
    known = {one.lot for one in lots}
    return TraceWeb(
        lot=lot,
        direction=direction,
        lots=lots,
        lines=tuple(
            sorted(
                (line for line in lines.values() if {line.parent, line.child} <= known),
                key=lambda line: (line.parent, line.child, line.part, line.first or 0),
            )
        ),
        whole=not stopped,
    )


def whole_web(reader: Reader, lot: str, direction: Direction) -> TraceWeb:
    """The same for a file of its lines. Raises NotFound."""
    return trace_web(reader, lot, direction, most=MOST_OF_FILE)


def _lines(
    edges: Iterable[Descent],
    sure: dict[str, Certainty],
    *,
    by: str,
    lot: str = "",
    place: int | None = None,
) -> dict[str, WebLine]:
    """Lines by descent; certain from a certain lot (``by`` its child or parent) where a piece had no other way."""
    of_child: dict[str, list[Descent]] = {}
    for edge in edges:
        of_child.setdefault(edge.child, []).append(edge)
    found = {}
    for child, drawn in of_child.items():
        for part in alternatives(drawn, place if child == lot else None):
            only = len({edge.parent for edge in part}) == 1
            for edge in part:
                end = edge.child if by == "child" else edge.parent
                found[edge.descent] = WebLine(
                    parent=edge.parent,
                    child=edge.child,
                    part=edge.part,
                    amount=edge.amount,
                    certainty="certain" if only and sure.get(end) == "certain" else "possible",
                    first=edge.first,
                    last=edge.last,
                )
    return found


def _lots(reader: Reader, sure: dict[str, Certainty]) -> tuple[WebLot, ...]:
    rows: dict[str, Lot] = {row.lot: row for row in rows_with(reader, Lot, "lot", list(sure))}
    held: dict[str, list[str]] = {}
    for hold in holds_on(reader, [f"lot:{name}" for name in rows], open_only=True):
        held.setdefault(hold.node.partition(":")[2], []).append(hold.hold)
    by_rule = RuleHolds(reader)
    for name, row in rows.items():
        held.setdefault(name, []).extend(hold.hold for hold in by_rule.over([row]) if hold.open)
    return tuple(
        WebLot(
            lot=name,
            stage=rows[name].stage,
            certainty=certainty,
            made=rows[name].made,
            used=rows[name].used,
            left=left_of(rows[name]),
            began_ms=rows[name].began_ms,
            material=rows[name].material,
            model=rows[name].model,
            open_holds=tuple(held[name]),
        )
        for name, certainty in sure.items()
        if name in rows
    )
