"""What a ball is made from as a drawing: its shell lot on the left, the drums on the right, whole lines for what is
certain and dashed ones for what is only possible.

A line from a lot to one more than a column away goes through a gap that is kept for that lot in each column between, so that
no line runs behind a box and seems to come from it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from ledger.evidence.dossier_format import LotLine
from ledger.evidence.pdf.parts import Background, LotLink
from ledger.evidence.pdf.pen import EDGE, INK, PAPER, SMALL, SMALL_BOLD, SOFT, WASH, Pen
from ledger.evidence.pdf.words import STAGES, many, word

MOST_ROWS = 42
"""Rows up to which there is a drawing."""

_HEAD, _GAP, _FOOT = 6.5, 9.0, 8.0
_TALLEST = 205.0


class Place(NamedTuple):
    """Column and row, each from 0."""

    column: int
    row: float


class MaterialsPicture:
    """The drawing of one ball's lots, laid out."""

    def __init__(self, lots: Sequence[LotLine], background: Background) -> None:
        """Lay it out: lots in columns by stage, each column in the order of what its lots were drawn by."""
        self._lots = {line.lot: line for line in lots}
        self._background = background
        self._columns = _columns(lots)
        self._links = [link for link in background.links if {link.lower, link.upper} <= self._lots.keys()]
        self._places = _placed(self._columns, self._links)
        self._rows = max(
            (sum(1 for place in self._places.values() if place.column == number))
            for number in range(len(self._columns))
        )

    @property
    def fits(self) -> bool:
        """Whether there is room to draw it."""
        return self._rows <= MOST_ROWS

    @property
    def height(self) -> float:
        """How tall it is, in mm."""
        return _HEAD + self._rows * self._pitch + _FOOT

    @property
    def _pitch(self) -> float:
        return min(8.4, _TALLEST / self._rows)

    def words(self) -> str:
        """The drawing in words."""
        said = [f"{word(STAGES, line.stage)} {line.lot} {line.certainty}" for line in self._lots.values()]
        return f"Lots that the ball descends from: {'; '.join(said)}. {many(len(self._links), 'line')} between them."

    def draw(self, pen: Pen, corner: tuple[float, float], room: float) -> None:
        """Draw it from its upper left corner, ``room`` mm wide."""
        x, y = corner
        wide = (room - _GAP * (len(self._columns) - 1)) / len(self._columns)
        tall = min(self._pitch - 1.4, 7.0)
        corners = {
            name: (x + place.column * (wide + _GAP), y + _HEAD + place.row * self._pitch + (self._pitch - tall) / 2)
            for name, place in self._places.items()
        }
        for number, column in enumerate(self._columns):
            pen.write(x + number * (wide + _GAP), y + 3.2, word(STAGES, column[0].stage), SMALL)
        # The certain ones last: where two share a way, it is a whole line.
        for link in sorted(self._links, key=lambda link: link.certain):
            self._draw_link(pen, link, corners, (wide, tall))
        for name, line in self._lots.items():
            _draw_box(pen, line, corners[name], (wide, tall), self._background.names.get(name, ""))
        _draw_key(pen, x, y + _HEAD + self._rows * self._pitch + 4)

    def _draw_link(
        self, pen: Pen, link: LotLink, corners: Mapping[str, tuple[float, float]], size: tuple[float, float]
    ) -> None:
        wide, tall = size
        lower, upper = self._places[link.lower].column, self._places[link.upper].column
        start = (corners[link.lower][0] + wide, corners[link.lower][1] + tall / 2)
        end = (corners[link.upper][0], corners[link.upper][1] + tall / 2)
        if upper <= lower:
            # A lot that came from another of its stage: round the outside of the column.
            end = (end[0] + wide, end[1])
            points = [start, (start[0] + 3, start[1]), (start[0] + 3, end[1]), end]
        else:
            points = [start]
            for column in range(lower + 1, upper):
                left, top = corners[_gap(link.lower, column)]
                points += [(left, top + tall / 2), (left + wide, top + tall / 2)]
            points.append(end)
        pen.line(points, tone=SOFT if link.certain else EDGE, width=0.25, dash=0 if link.certain else 1.1)


def _gap(lot: str, column: int) -> str:
    """The name of the gap that is kept for a lot in a column; no lot has such a name."""
    return f"{lot} through {column}"


def _columns(lots: Sequence[LotLine]) -> list[list[LotLine]]:
    """The lots by stage, from the ball to the drum; stages without a lot take no room."""
    order = {stage: place for place, stage in enumerate(STAGES)}
    found: defaultdict[str, list[LotLine]] = defaultdict(list)
    for line in lots:
        found[line.stage].append(line)
    return [found[stage] for stage in sorted(found, key=lambda stage: (order.get(stage, len(order)), stage))]


def _placed(columns: Sequence[Sequence[LotLine]], links: Sequence[LotLink]) -> dict[str, Place]:
    """Where lots and gaps stand: each column in the middle, in the order of what lies left of it, so that few lines cross."""
    column_of = {line.lot: number for number, column in enumerate(columns) for line in column}
    names: list[list[str]] = [[line.lot for line in column] for column in columns]
    left: defaultdict[str, set[str]] = defaultdict(set)
    for link in links:
        before = link.lower
        for column in range(column_of[link.lower] + 1, column_of[link.upper]):
            gap = _gap(link.lower, column)
            if gap not in names[column]:
                names[column].append(gap)
            left[gap].add(before)
            before = gap
        left[link.upper].add(before)
    rows = max(map(len, names))
    places: dict[str, Place] = {}
    for number, column_names in enumerate(names):
        near = {name: [places[other].row for other in left[name] if other in places] for name in column_names}
        weights = {name: sum(found) / len(found) if found else float(rows) for name, found in near.items()}
        first = (rows - len(column_names)) / 2
        for row, name in enumerate(sorted(column_names, key=lambda name: (weights[name], name))):
            places[name] = Place(number, first + row)
    return places


def _draw_box(pen: Pen, line: LotLine, corner: tuple[float, float], size: tuple[float, float], name: str) -> None:
    (x, y), (wide, tall) = corner, size
    certain = line.certainty == "certain"
    pen.box(corner, size, fill=WASH if certain else PAPER, edge=INK, dash=0 if certain else 1.1)
    both = bool(name) and tall >= 6.4
    lot = pen.shortened(line.lot, SMALL_BOLD, wide - 2.8)
    pen.write(x + 1.4, y + (2.9 if both else tall / 2 + 0.9), lot, SMALL_BOLD)
    if both:
        pen.write(x + 1.4, y + 5.9, pen.shortened(name, SMALL, wide - 2.8), SMALL)


def _draw_key(pen: Pen, x: float, y: float) -> None:
    pen.box((x, y - 2.4), (7, 3), fill=WASH, edge=INK)
    pen.write(x + 9, y, "certain: the ball holds it", SMALL)
    pen.box((x + 46, y - 2.4), (7, 3), fill=PAPER, edge=INK, dash=1.1)
    pen.write(x + 55, y, "possible: the records do not tell whether the ball holds it or another lot", SMALL)
