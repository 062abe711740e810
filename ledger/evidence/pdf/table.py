"""A table of a report: columns as wide as they need, cells in lines, headings again on every page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from ledger.evidence.pdf.flow import Flow
from ledger.evidence.pdf.pen import CELL, CELL_BOLD, INK, LABEL, LINE, WASH, Pen, Style

_PAD, _GAP = 1.1, 1.2


class Column(NamedTuple):
    """A column: its heading, how its cells are set (L, R, C), the least width in mm, and the most that it may ask for."""

    title: str
    align: str = "L"
    least: float = 8.0
    most: float = 70.0


class Cell(NamedTuple):
    """A cell: its text, a second line below in small type, whether it stands out."""

    text: str
    below: str = ""
    strong: bool = False


Row = Sequence[str | Cell]


class Table:
    """A table being written into a flow, row by row."""

    def __init__(self, flow: Flow, columns: Sequence[Column], rows: Sequence[Row], *, size: float = 8.0) -> None:
        """Columns fitted to the rows; nothing is written yet. ``size``: of the type, in points."""
        self._flow, self._columns = flow, columns
        self._rows = [[cell if isinstance(cell, Cell) else Cell(cell) for cell in row] for row in rows]
        self._style, self._bold = CELL._replace(size=size), CELL_BOLD._replace(size=size)
        self._small = LABEL._replace(size=size - 1.2)
        self._heads = LABEL._replace(size=size - 0.6)
        self._widths = self._fitted()

    def write(self) -> None:
        """Write it, over as many pages as it takes."""
        structure = self._flow.pen.structure
        heights = [self._height(row) for row in self._rows]
        head = self._head_height()
        self._flow.need(head + sum(heights[:2]))
        at = 0
        while at < len(self._rows):
            if at:
                self._flow.new_page()
            group = structure.group("Table")
            self._write_head(group, head)
            first = at
            while at < len(self._rows) and (at == first or self._flow.y + heights[at] <= self._flow.bottom):
                self._write_row(group, self._rows[at], heights[at])
                at += 1
        self._flow.y += 3

    def _style_of(self, cell: Cell) -> Style:
        return self._bold if cell.strong else self._style

    def _fitted(self) -> list[float]:
        """What each column needs; the widest give way where that is too much, all grow where it is less."""
        pen, room = self._flow.pen, self._flow.room
        needs = []
        for place, column in enumerate(self._columns):
            cells = {row[place] for row in self._rows}
            wide = [self._wide(pen, cell) for cell in cells]
            title = max(pen.width(word, self._heads) for word in column.title.split(" "))
            needs.append(min(max([title, column.least, *wide]), max(column.most, title)) + 2 * _PAD)
        total = sum(needs)
        if total <= room:
            return [need * room / total for need in needs]
        left, share = room, room / len(needs)
        for count, need in enumerate(sorted(needs)):
            share = left / (len(needs) - count)
            if need > share:
                break
            left -= need
        return [min(need, share) for need in needs]

    def _wide(self, pen: Pen, cell: Cell) -> float:
        return max(pen.width(cell.text, self._style_of(cell)), pen.width(cell.below, self._small))

    def _lines(self, cell: Cell, width: float) -> tuple[list[str], list[str]]:
        pen = self._flow.pen
        text = pen.lines(cell.text, self._style_of(cell), width)
        return text, pen.lines(cell.below, self._small, width) if cell.below else []

    def _height(self, row: Sequence[Cell]) -> float:
        tallest = 0.0
        for cell, width in zip(row, self._widths, strict=True):
            text, below = self._lines(cell, width - 2 * _PAD)
            tallest = max(tallest, len(text) * self._style.line + len(below) * self._small.line)
        return tallest + _GAP

    def _head_height(self) -> float:
        pen = self._flow.pen
        lines = [
            pen.lines(one.title, self._heads, wide - 2 * _PAD)
            for one, wide in zip(self._columns, self._widths, strict=True)
        ]
        return max(map(len, lines)) * self._heads.line + _GAP + 0.6

    def _write_head(self, group: object, height: float) -> None:
        flow, pen = self._flow, self._flow.pen
        row = pen.structure.group("TR", group)  # type: ignore[arg-type]  # fpdf2's elements are opaque here
        with pen.structure.artifact():
            pen.box((flow.left, flow.y), (flow.room, height), fill=WASH, edge=None)
        x = flow.left
        for column, width in zip(self._columns, self._widths, strict=True):
            lines = pen.lines(column.title, self._heads, width - 2 * _PAD)
            top = flow.y + height - _GAP - len(lines) * self._heads.line
            with pen.structure.content("TH", row):
                self._write_lines(lines, self._heads, (x, top), width, column.align)
            x += width
        flow.y += height
        with pen.structure.artifact():
            pen.line([(flow.left, flow.y), (flow.right, flow.y)], tone=INK, width=0.3)

    def _write_row(self, group: object, cells: Sequence[Cell], height: float) -> None:
        flow, pen = self._flow, self._flow.pen
        row = pen.structure.group("TR", group)  # type: ignore[arg-type]  # as above
        x = flow.left
        for cell, column, width in zip(cells, self._columns, self._widths, strict=True):
            text, below = self._lines(cell, width - 2 * _PAD)
            with pen.structure.content("TD", row):
                style = self._style_of(cell)
                self._write_lines(text, style, (x, flow.y + _GAP / 2), width, column.align)
                top = flow.y + _GAP / 2 + len(text) * style.line
                self._write_lines(below, self._small, (x, top), width, column.align)
            x += width
        flow.y += height
        with pen.structure.artifact():
            pen.line([(flow.left, flow.y), (flow.right, flow.y)], tone=LINE, width=0.15)

    def _write_lines(
        self, lines: Sequence[str], style: Style, corner: tuple[float, float], width: float, align: str
    ) -> None:
        x, y = corner
        place = {"L": x + _PAD, "R": x + width - _PAD, "C": x + width / 2}[align]
        for text in lines:
            self._flow.pen.write(place, y + style.size * 0.3, text, style, align=align)
            y += style.line
