"""Where the boxes and lines of a trace go: columns from left to right, few crossings, a row of its own for each line's end.

A line that passes a column has a place kept for it there (after Sugiyama, Tagawa and Toda, IEEE Trans. SMC 11 (1981)
109-125, from memory); the order within columns is settled by the means of neighbours.  Pure, and the same for the same web.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from api.pages.lots.trace_cut import Cut, Link

WIDTH, PITCH, LEAD = 138.0, 268.0, 62.0
"""Of a box, from one column to the next, and of the straight end of a line, over which its amount stands."""

LEAST_HEIGHT, ROW, GAP, TOP, MARGIN = 50.0, 17.0, 16.0, 34.0, 8.0
_SWEEPS = 8
_KEPT = "~"


class Place(NamedTuple):
    """A box, or (of no width) the place that is kept for a line that passes."""

    x: float
    y: float
    width: float
    height: float

    @property
    def middle(self) -> float:
        """Of its height."""
        return self.y + self.height / 2


class Drawn(NamedTuple):
    """A line: its points from left to right, two and more; ``link`` says what it is."""

    link: Link
    points: tuple[tuple[float, float], ...]


class Layout(NamedTuple):
    """Everything placed; sizes in user units."""

    places: Mapping[str, Place]
    lines: tuple[Drawn, ...]
    width: float
    height: float


def lay_out(cut: Cut) -> Layout:
    """Place what is drawn."""
    column = {node.key: node.column for node in cut.nodes}
    order: list[list[str]] = [[] for _ in cut.heads]
    for node in cut.nodes:
        order[node.column].append(node.key)
    chains = [_chain(number, link, column, order) for number, link in enumerate(cut.links)]
    before, after = defaultdict[str, list[str]](list), defaultdict[str, list[str]](list)
    for chain in chains:
        for left, right in itertools.pairwise(chain):
            after[left].append(right)
            before[right].append(left)
    heights = {key: _height(key, before, after) for keys in order for key in keys}
    _settle_order(order, before, after)
    tops = _settle_tops(order, heights, before, after)
    places = {
        key: Place(MARGIN + number * PITCH, tops[key], 0 if key.startswith(_KEPT) else WIDTH, heights[key])
        for number, keys in enumerate(order)
        for key in keys
    }
    height = max((place.y + place.height for place in places.values()), default=TOP) + MARGIN
    return Layout(
        {key: place for key, place in places.items() if not key.startswith(_KEPT)},
        _lines(cut.links, chains, places),
        2 * MARGIN + WIDTH + (len(order) - 1) * PITCH,
        height,
    )


def _chain(number: int, link: Link, column: Mapping[str, int], order: list[list[str]]) -> list[str]:
    """The boxes and kept places that a line goes through; a line that does not go right has its ends alone."""
    between = range(column[link.tail] + 1, column[link.head])
    kept = [f"{_KEPT}{number}.{place}" for place in between]
    for place, key in zip(between, kept, strict=True):
        order[place].append(key)
    return [link.tail, *kept, link.head]


def _height(key: str, before: Mapping[str, list[str]], after: Mapping[str, list[str]]) -> float:
    if key.startswith(_KEPT):
        return ROW
    ends = max(len(before.get(key, ())), len(after.get(key, ())))
    return max(LEAST_HEIGHT, ROW * (ends + 0.5))


def _settle_order(order: list[list[str]], before: Mapping[str, list[str]], after: Mapping[str, list[str]]) -> None:
    for sweep in range(_SWEEPS):
        columns = order if sweep % 2 == 0 else order[::-1]
        neighbours = before if sweep % 2 == 0 else after
        rank = {key: place / max(len(keys), 1) for keys in order for place, key in enumerate(keys)}
        for keys in columns:
            mean = {key: _mean([rank[one] for one in neighbours.get(key, ())], rank[key]) for key in keys}
            keys.sort(key=lambda key, mean=mean: (mean[key], key))  # type: ignore[misc]  # bound at once
            rank |= {key: place / max(len(keys), 1) for place, key in enumerate(keys)}


def _settle_tops(
    order: Sequence[Sequence[str]],
    heights: Mapping[str, float],
    before: Mapping[str, list[str]],
    after: Mapping[str, list[str]],
) -> dict[str, float]:
    """Near the mean of the neighbours, in order, and never over each other."""
    tops: dict[str, float] = {}
    for keys in order:
        tops |= _stacked(keys, heights, dict.fromkeys(keys, 0.0))
    for sweep in range(_SWEEPS):
        for keys in order if sweep % 2 == 0 else order[::-1]:
            wanted = {}
            for key in keys:
                near = [*before.get(key, ()), *after.get(key, ())]
                middle = _mean([tops[one] + heights[one] / 2 for one in near], tops[key] + heights[key] / 2)
                wanted[key] = middle - heights[key] / 2
            tops |= _stacked(keys, heights, wanted)
    highest = min(tops.values(), default=0)
    return {key: top - highest + TOP for key, top in tops.items()}


def _stacked(keys: Sequence[str], heights: Mapping[str, float], wanted: Mapping[str, float]) -> dict[str, float]:
    """In order with gaps; then moved as a whole by what they miss their wanted places on the mean."""
    found: dict[str, float] = {}
    free = float("-inf")
    for key in keys:
        found[key] = max(wanted[key], free)
        free = found[key] + heights[key] + GAP
    miss = _mean([wanted[key] - found[key] for key in keys], 0.0)
    return {key: top + miss for key, top in found.items()}


def _lines(links: Sequence[Link], chains: Sequence[Sequence[str]], places: Mapping[str, Place]) -> tuple[Drawn, ...]:
    """Each line from a row of its own at its tail to a row of its own at its head, in the order of the other ends."""
    rows_out, rows_in = defaultdict[str, list[int]](list), defaultdict[str, list[int]](list)
    for number, chain in enumerate(chains):
        rows_out[chain[0]].append(number)
        rows_in[chain[-1]].append(number)
    starts: dict[int, float] = {}
    ends: dict[int, float] = {}
    for key, numbers in rows_out.items():
        numbers.sort(key=lambda number: places[chains[number][1]].middle)
        starts |= {number: _row(places[key], place, len(numbers)) for place, number in enumerate(numbers)}
    for key, numbers in rows_in.items():
        numbers.sort(key=lambda number: places[chains[number][-2]].middle)
        ends |= {number: _row(places[key], place, len(numbers)) for place, number in enumerate(numbers)}
    return tuple(
        Drawn(
            link,
            (
                (places[chain[0]].x + WIDTH, starts[number]),
                *(point for key in chain[1:-1] for point in _passing(places[key])),
                (places[chain[-1]].x, ends[number]),
            ),
        )
        for number, (link, chain) in enumerate(zip(links, chains, strict=True))
    )


def _passing(place: Place) -> tuple[tuple[float, float], tuple[float, float]]:
    return (place.x, place.middle), (place.x + WIDTH, place.middle)


def _row(place: Place, number: int, of: int) -> float:
    return place.middle + (number - (of - 1) / 2) * min(ROW, place.height / of)


def _mean(values: Sequence[float], otherwise: float) -> float:
    return sum(values) / len(values) if values else otherwise
