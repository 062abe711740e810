"""The list of what is in a report, and at which page each ball begins. The page numbers are written last."""

from __future__ import annotations

from collections.abc import Sequence

from ledger.evidence.pdf.flow import Flow, Place
from ledger.evidence.pdf.pen import BODY, CELL, LINE, Style

_COLUMNS = 3
_GAP = 8.0


class Contents:
    """The pages at which parts and balls begin, as they are noted."""

    def __init__(self, flow: Flow, balls: Sequence[str], parts: Sequence[str]) -> None:
        """``balls``: their numbers; ``parts``: the names of the other parts, each in the order of the report."""
        self._flow, self._balls, self._parts = flow, balls, parts
        self._pages: dict[str, int] = {}

    def note(self, name: str) -> None:
        """The part or ball begins on the page that is being written."""
        self._pages[name] = self._flow.page

    def write(self) -> None:
        """Write the list here, with room for the numbers."""
        flow = self._flow
        flow.heading("H2", "Contents", keep=(len(self._parts) + 3) * (BODY.line + 1.4) + 12, outline=False)
        for part in self._parts:
            self._line(part, BODY, flow.left, flow.room)
            flow.y += BODY.line + 1.2
        flow.y += 2
        wide = (flow.room - _GAP * (_COLUMNS - 1)) / _COLUMNS
        tall = CELL.line + 0.9
        left = list(self._balls)
        while left:
            rows = min(max(1, int((flow.bottom - flow.y) / tall)), -(-len(left) // _COLUMNS))
            for number, ball in enumerate(left[: rows * _COLUMNS]):
                column, row = divmod(number, rows)
                top, flow.y = flow.y, flow.y + row * tall
                self._line(ball, CELL, flow.left + column * (wide + _GAP), wide)
                flow.y = top
            left = left[rows * _COLUMNS :]
            flow.y += rows * tall
            if left:
                flow.new_page()

    def _line(self, name: str, style: Style, x: float, wide: float) -> None:
        flow, y = self._flow, self._flow.y + style.size * 0.3
        with flow.pen.structure.content("P"):
            flow.pen.write(x, y, flow.pen.shortened(name, style, wide - 12), style)
        with flow.pen.structure.artifact():
            flow.pen.line([(x, y + 1.1), (x + wide, y + 1.1)], tone=LINE, width=0.12)
        flow.later(Place(flow.page, x + wide, y, style), lambda: str(self._pages.get(name, "")))
