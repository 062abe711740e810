"""A web of lots as a picture can show it: columns by stage, and what is too many in a column drawn as one.

Lines to and from lots that are drawn as one are added up, so that the quantities on a picture still add up.  Pure.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from ledger.application.trace_web import BY_WEIGHT, TraceWeb, WebLot

STAGES = ("material", "batch", "block", "core", "shell")
MOST = 10
"""Lots of one column that are drawn each by itself."""


class Node(NamedTuple):
    """One box: a lot, or so many ``hidden`` lots of a stage as one. ``column``: from the left, counted from 0."""

    key: str
    column: int
    lot: WebLot | None
    hidden: int = 0
    stage: str = ""


class Link(NamedTuple):
    """What goes from one box to another: grams or pieces, added up over ``lines`` of the web."""

    tail: str
    head: str
    amount: int
    by_weight: bool
    certain: bool
    lines: int = 1


class Cut(NamedTuple):
    """What is drawn: boxes by column, and the links between them. ``heads``: the stage of each column."""

    nodes: tuple[Node, ...]
    links: tuple[Link, ...]
    heads: tuple[str, ...]

    @property
    def hidden(self) -> int:
        """How many lots are not drawn by themselves."""
        return sum(node.hidden for node in self.nodes)


def cut_web(web: TraceWeb, most: int = MOST) -> Cut:
    """The boxes and links of a web; the lot itself, then certain ones, are drawn first."""
    columns = _columns(web)
    heads = sorted(set(columns.values()))
    place = {column: number for number, column in enumerate(heads)}
    groups: dict[tuple[int, int], list[WebLot]] = defaultdict(list)
    for one in web.lots:
        groups[columns[one.lot]].append(one)
    nodes: list[Node] = []
    key_of: dict[str, str] = {}
    for column in heads:
        ranked = sorted(groups[column], key=lambda one: (one.lot != web.lot, one.certainty != "certain", one.lot))
        # One too many is drawn too: a box that stands for it would take the same room.
        shown = ranked if len(ranked) <= most + 1 else ranked[:most]
        rest = ranked[len(shown) :]
        for one in sorted(shown, key=lambda one: one.lot):
            key_of[one.lot] = one.lot
            nodes.append(Node(one.lot, place[column], one, stage=one.stage))
        if rest:
            key = f"more {place[column]}"
            key_of |= {one.lot: key for one in rest}
            nodes.append(Node(key, place[column], None, len(rest), rest[0].stage))
    return Cut(tuple(nodes), _links(web, key_of), tuple(STAGES[rank] for rank, _ in heads))


def _columns(web: TraceWeb) -> dict[str, tuple[int, int]]:
    """Stage of each lot, and how many lots of its own stage it goes on from."""
    stage = {one.lot: STAGES.index(one.stage) for one in web.lots}
    depth = dict.fromkeys(stage, 0)
    heirs = [(line.parent, line.child) for line in web.lines if stage[line.parent] == stage[line.child]]
    # As many rounds as there are lines end it, even where records make a lot descend from itself.
    for _ in heirs:
        moved = {child: depth[parent] + 1 for parent, child in heirs if depth[child] <= depth[parent] < len(heirs)}
        if not moved:
            break
        depth |= moved
    return {lot: (rank, depth[lot]) for lot, rank in stage.items()}


def _links(web: TraceWeb, key_of: Mapping[str, str]) -> tuple[Link, ...]:
    stage = {one.lot: one.stage for one in web.lots}
    found: dict[tuple[str, str], Link] = {}
    for one in web.lines:
        ends = key_of[one.parent], key_of[one.child]
        sure = one.certainty == "certain"
        before = found.get(ends)
        if before is None:
            found[ends] = Link(*ends, one.amount, stage[one.parent] in BY_WEIGHT, sure)
        else:
            found[ends] = before._replace(
                amount=before.amount + one.amount, certain=before.certain and sure, lines=before.lines + 1
            )
    return tuple(found.values())


def sums(links: Iterable[Link]) -> dict[str, int]:
    """What goes out of each box."""
    found: dict[str, int] = defaultdict(int)
    for one in links:
        found[one.tail] += one.amount
    return dict(found)
