"""The pages of a report: headings, paragraphs, facts and pictures one below another, with running head and foot.

The number of pages is known last, and so are the places that others name: those texts are written when all else stands.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal, NamedTuple

from fpdf import FPDF

from ledger.evidence.pdf.pen import (
    ACCENT,
    BODY,
    EDGE,
    HEAD_1,
    HEAD_2,
    HEAD_3,
    LABEL,
    LINE,
    PAPER,
    SMALL,
    WASH,
    Pen,
    Style,
)

Paper = Literal["A4", "Letter"]
SIZES = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height in mm."""

_MARGIN, _TOP, _BOTTOM = 19.0, 25.0, 21.0
_HEADS = {"H1": (HEAD_1, 0.0, 3.4), "H2": (HEAD_2, 4.2, 1.9), "H3": (HEAD_3, 2.6, 1.0)}


class Place(NamedTuple):
    """Where a text is to be written later: page, point, style, and whether x is its left or right end."""

    page: int
    x: float
    y: float
    style: Style
    align: str = "R"


class Flow:
    """A document that grows downwards. ``y`` is where the next thing begins."""

    def __init__(self, pdf: FPDF, paper: Paper, *, head: str, foot: str) -> None:
        """Pages of that paper; ``head`` and ``foot`` stand on the left of each."""
        self.pdf, self.pen = pdf, Pen(pdf)
        self.wide, self.tall = SIZES[paper]
        self.left, self.right, self.bottom = _MARGIN, self.wide - _MARGIN, self.tall - _BOTTOM
        self.y = 0.0
        self.subject = ""
        self._head, self._foot = head, foot
        self._later: list[tuple[Place, Callable[[], str]]] = []

    @property
    def room(self) -> float:
        """The width between the margins."""
        return self.right - self.left

    @property
    def page(self) -> int:
        """The number of the page that is being written, from 1."""
        return self.pdf.page

    def new_page(self, subject: str | None = None) -> None:
        """Begin a page; ``subject``: what stands on the right of the head of this and the next pages."""
        if subject is not None:
            self.subject = subject
        self.pdf.add_page()
        pen, line = self.pen, 15.6
        with pen.structure.artifact():
            wide = self.room * (0.62 if self.subject else 1)
            pen.write(self.left, line - 2, pen.shortened(self._head, SMALL, wide - 4), SMALL)
            right = pen.shortened(self.subject, SMALL, self.room - wide)
            pen.write(self.right, line - 2, right, SMALL._replace(cut="B"), align="R")
            pen.line([(self.left, line), (self.right, line)], tone=EDGE, width=0.2)
            pen.line([(self.left, line + 0.7), (self.right, line + 0.7)], tone=EDGE, width=0.2)
            foot = self.tall - 12
            pen.line([(self.left, foot - 3.6), (self.right, foot - 3.6)], tone=LINE, width=0.2)
            pen.write(self.left, foot, pen.shortened(self._foot, SMALL, self.room - 28), SMALL)
        self.later(Place(self.page, self.right, foot, SMALL), self._page_words(self.page))
        self.y = _TOP

    def _page_words(self, page: int) -> Callable[[], str]:
        return lambda: f"page {page} of {len(self.pdf.pages)}"

    def later(self, place: Place, words: Callable[[], str]) -> None:
        """Write at a place when all pages stand."""
        self._later.append((place, words))

    def finish(self) -> None:
        """Write what was left for later. Nothing may be added after."""
        pen, last = self.pen, self.pdf.page
        # A text is written in the tone that a page has last unless that is another: no text has the tone of the paper.
        self.pdf.set_fill_color(PAPER)
        for place, words in self._later:
            self.pdf.page = place.page
            self.pdf.current_font_is_set_on_page = False
            with pen.structure.artifact():
                pen.write(place.x, place.y, words(), place.style, align=place.align)
        self.pdf.page = last

    def need(self, height: float) -> None:
        """Go to a new page unless that much room is left on this one."""
        if self.y + height > self.bottom:
            self.new_page()

    def heading(self, role: Literal["H1", "H2", "H3"], text: str, *, keep: float = 16, outline: bool = True) -> None:
        """A heading that is not left alone at the foot: ``keep`` is the room that it takes along."""
        style, before, after = _HEADS[role]
        lines = self.pen.lines(text, style, self.room)
        self.need(before + len(lines) * style.line + after + keep)
        if self.y > _TOP:
            self.y += before
        if outline and role != "H3":
            self.pdf.start_section(self.pen.printable(text), level=int(role[1]) - 1, strict=False)
        with self.pen.structure.content(role):
            self._write_lines(lines, style, self.left)
        if role == "H1":
            with self.pen.structure.artifact():
                self.pen.line([(self.left, self.y + 0.4), (self.left + 16, self.y + 0.4)], tone=ACCENT, width=0.8)
        self.y += after

    def paragraph(
        self, text: str, style: Style = BODY, *, after: float = 2.0, indent: float = 0.0, mark: str = ""
    ) -> None:
        """Text across the page, over pages where it is long; ``mark`` stands before its first line."""
        lines = self.pen.lines(text, style, self.room - indent)
        while lines:
            self.need(min(2, len(lines)) * style.line)
            fits = max(1, int((self.bottom - self.y) / style.line))
            with self.pen.structure.content("P"):
                if mark:
                    self.pen.write(self.left, self.y + style.size * 0.3, mark, style)
                self._write_lines(lines[:fits], style, self.left + indent)
            lines, mark = lines[fits:], ""
        self.y += after

    def points(self, texts: Sequence[str], style: Style = BODY, *, numbered: bool = False) -> None:
        """A list, each point marked or numbered."""
        for number, text in enumerate(texts, 1):
            self.paragraph(text, style, after=1.2, indent=5, mark=f"{number}." if numbered else "\u2013")
        self.y += 1

    def facts(self, rows: Sequence[tuple[str, str]], *, label: float = 38, style: Style = BODY) -> None:
        """Names and what stands for them, in two columns."""
        for name, text in rows:
            names = self.pen.lines(name, LABEL, label - 3)
            lines = self.pen.lines(text, style, self.room - label)
            height = max(len(lines), len(names)) * style.line
            self.need(min(height, 40))
            with self.pen.structure.content("P"):
                top = self.y
                self._write_lines(names, LABEL._replace(size=min(LABEL.size, style.size)), self.left, style.line)
                self.y = top
                self._write_lines(lines, style, self.left + label)
                self.y = top + height
            with self.pen.structure.artifact():
                self.pen.line([(self.left, self.y + 0.5), (self.right, self.y + 0.5)], tone=LINE, width=0.15)
            self.y += 1.6
        self.y += 1

    def framed(self, texts: Sequence[str], style: Style = BODY) -> None:
        """Paragraphs on a tinted ground with a bar beside, kept together."""
        inner = self.room - 9
        broken = [self.pen.lines(text, style, inner) for text in texts]
        height = sum(len(lines) for lines in broken) * style.line + 1.4 * (len(texts) - 1) + 5.4
        self.need(height)
        with self.pen.structure.artifact():
            self.pen.box((self.left, self.y), (self.room, height), fill=WASH, edge=None)
            self.pen.box((self.left, self.y), (1.3, height), fill=ACCENT, edge=None)
        end, self.y = self.y + height, self.y + 2.6
        for lines in broken:
            with self.pen.structure.content("P"):
                self._write_lines(lines, style, self.left + 5)
            self.y += 1.4
        self.y = end + 3

    def picture(self, height: float, alt: str, draw: Callable[[Pen, float, float], None]) -> None:
        """Room for a picture across the page, drawn from its upper left corner; ``alt`` says what it shows."""
        self.need(height)
        with self.pen.structure.content("Figure", alt=alt):
            draw(self.pen, self.left, self.y)
        self.y += height

    def _write_lines(self, lines: Sequence[str], style: Style, x: float, line: float | None = None) -> None:
        for text in lines:
            # The baseline lies about three quarters down the height of the letters.
            self.pen.write(x, self.y + style.size * 0.3, text, style)
            self.y += line or style.line
