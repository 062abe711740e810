"""Writing and drawing on a page, in millimetres from its upper left corner, in a few styles and tones.

Lines of text are broken here, by the widths of the typeface: nothing is written that does not fit where it stands.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from fpdf import FPDF
from fpdf.fonts import TTFFont

from ledger.evidence.pdf.fonts import FAMILY, Printable, add_fonts
from ledger.evidence.pdf.structure import Structure

Tone = tuple[int, int, int]

INK: Tone = (29, 38, 34)
SOFT: Tone = (85, 95, 90)
EDGE: Tone = (133, 124, 105)
LINE: Tone = (202, 196, 180)
WASH: Tone = (240, 237, 228)
BAR: Tone = (200, 204, 196)
ACCENT: Tone = (123, 45, 23)
PAPER: Tone = (255, 255, 255)

_POINT = 25.4 / 72


class Style(NamedTuple):
    """Cut ("", "B", "I"), size in points and tone of a text."""

    cut: str
    size: float
    tone: Tone = INK

    @property
    def line(self) -> float:
        """The height of a line in mm."""
        return self.size * _POINT * 1.28


TITLE = Style("B", 23)
HEAD_1 = Style("B", 15)
HEAD_2 = Style("B", 11, ACCENT)
HEAD_3 = Style("B", 9)
BODY = Style("", 9.5)
STRONG = Style("B", 9.5)
CELL = Style("", 8)
CELL_BOLD = Style("B", 8)
SMALL = Style("", 7, SOFT)
SMALL_INK = Style("", 7)
SMALL_BOLD = Style("B", 7)
LABEL = Style("", 8, SOFT)
ASIDE = Style("I", 8.5, SOFT)


def _face(pdf: FPDF, cut: str) -> TTFFont:
    font = pdf.fonts[f"{FAMILY}{cut}"]
    assert isinstance(font, TTFFont)  # noqa: S101  # unreachable: the document has no other fonts
    return font


class Pen:
    """One document's pen. What is written is not marked as content: whoever uses it says what it is."""

    def __init__(self, pdf: FPDF) -> None:
        """A pen over ``pdf``, to which the typeface is added. Raises Unsupported where it is not installed."""
        self.pdf = pdf
        add_fonts(pdf)
        self.structure = Structure(pdf)
        self._fonts = {cut: _face(pdf, cut) for cut in ("", "B", "I")}
        known = frozenset.intersection(*(frozenset(font.cmap) for font in self._fonts.values()))
        self.printable = Printable(known)
        self._widths: dict[tuple[str, str], float] = {}

    def close(self) -> None:
        """Close the files of the typeface, once the document was written out."""
        for font in self._fonts.values():
            font.ttfont.close()

    def width(self, text: str, style: Style) -> float:
        """How wide a text is, in mm."""
        key = (style.cut, text)
        units = self._widths.get(key)
        if units is None:
            widths = self._fonts[style.cut].cw
            units = self._widths[key] = sum(widths[ord(letter)] for letter in self.printable(text))
        return units * style.size * _POINT / 1000

    def lines(self, text: str, style: Style, width: float) -> list[str]:
        """The text in lines of at most ``width``; a word that is wider is broken, after a sign where it has one."""
        if self.width(text, style) <= width:
            return [self.printable(text)]
        found: list[str] = []
        line = ""
        for word in self.printable(text).split(" "):
            joined = f"{line} {word}" if line else word
            if self.width(joined, style) <= width:
                line = joined
                continue
            if line:
                found.append(line)
            *broken, line = self._broken(word, style, width)
            found += broken
        return [*found, line]

    def _broken(self, word: str, style: Style, width: float) -> list[str]:
        parts: list[str] = []
        while self.width(word, style) > width and len(word) > 1:
            cut = next(cut for cut in range(len(word) - 1, 0, -1) if cut == 1 or self.width(word[:cut], style) <= width)
            after = max((word.rfind(sign, 0, cut) + 1 for sign in "-/._,;:+"), default=0)
            cut = after if after > cut // 2 else cut
            parts.append(word[:cut])
            word = word[cut:]
        return [*parts, word]

    def shortened(self, text: str, style: Style, width: float) -> str:
        """The text in one line, with three dots where it is too wide."""
        text = self.printable(text)
        if self.width(text, style) <= width:
            return text
        while text and self.width(f"{text}...", style) > width:
            text = text[:-1]
        return f"{text}..."

    def write(self, x: float, y: float, text: str, style: Style, *, align: str = "L") -> None:
        """One line with its baseline at ``y``; ``align``: L, R or C of ``x``."""
        text = self.printable(text)
        if not text:
            return
        if align != "L":
            x -= self.width(text, style) * (1 if align == "R" else 0.5)
        self.pdf.set_font(FAMILY, style.cut, style.size)
        self.pdf.set_text_color(style.tone)
        self.pdf.text(x, y, text)

    def line(
        self, points: Sequence[tuple[float, float]], *, tone: Tone = INK, width: float = 0.25, dash: float = 0
    ) -> None:
        """Straight lines from point to point; ``dash``: length of the dashes, 0 for a whole line."""
        self.pdf.set_draw_color(tone)
        self.pdf.set_line_width(width)
        if dash:
            self.pdf.set_dash_pattern(dash, dash * 0.8)
        self.pdf.polyline(list(points))
        if dash:
            self.pdf.set_dash_pattern()

    def box(
        self,
        corner: tuple[float, float],
        size: tuple[float, float],
        *,
        fill: Tone | None = None,
        edge: Tone | None = INK,
        dash: float = 0,
        width: float = 0.25,
    ) -> None:
        """A rectangle from its upper left corner, filled, edged or both."""
        if fill is not None:
            self.pdf.set_fill_color(fill)
        if edge is not None:
            self.pdf.set_draw_color(edge)
            self.pdf.set_line_width(width)
            if dash:
                self.pdf.set_dash_pattern(dash, dash * 0.8)
        style = ("D" if edge is not None else "") + ("F" if fill is not None else "")
        self.pdf.rect(*corner, *size, style=style)
        if edge is not None and dash:
            self.pdf.set_dash_pattern()

    def disc(self, x: float, y: float, radius: float, *, fill: Tone | None = INK, edge: Tone = INK) -> None:
        """A disc about a point."""
        self.pdf.set_draw_color(edge)
        self.pdf.set_line_width(0.25)
        if fill is not None:
            self.pdf.set_fill_color(fill)
        self.pdf.circle(x, y, radius, style="DF" if fill is not None else "D")

    def hatched(self, corner: tuple[float, float], size: tuple[float, float], *, tone: Tone = ACCENT) -> None:
        """A rectangle filled with slanted lines, so that it is told apart without colour."""
        (left, top), (wide, tall) = corner, size
        step = 1.3
        at = step
        while at < wide + tall:
            start = (left + at, top) if at <= wide else (left + wide, top + at - wide)
            end = (left, top + at) if at <= tall else (left + at - tall, top + tall)
            self.line([start, end], tone=tone, width=0.15)
            at += step
