"""A letter set as PDF: A4, the text first, then its table, headings repeated on each page, pages numbered.

The same letter gives the same bytes with the same versions of the libraries: its date is the letter's own, at noon UTC.
The standard fonts of PDF know Latin 1 only; of what they cannot print a letter keeps the base letter (as ``c`` for
``č``), and a question mark where there is none.
"""

from __future__ import annotations

import datetime as dt
import unicodedata
from typing import TYPE_CHECKING, Any

from ledger.errors import MalformedInput, TooLarge
from ledger.warranty.letter import Letter

if TYPE_CHECKING:
    from fpdf import FPDF

__all__ = ["MOST_ROWS", "Letter", "letter_pdf"]

MOST_ROWS = 20_000
"""Rows of a table in one letter: some four hundred pages."""

_WIDTH, _HEIGHT = 210.0, 297.0  # millimetres
_LEFT, _RIGHT, _TOP, _BOTTOM = 25.0, 20.0, 20.0, 22.0
_WIDE = _WIDTH - _LEFT - _RIGHT
_LINE, _ROW = 5.0, 5.6
_PAD = 3.0
_GREY, _RULE = 90, 170
_PUNCTUATION = str.maketrans({"–": "-", "—": "-", "‘": "'", "’": "'", "“": '"', "”": '"', "…": "...", "\u00a0": " "})


def letter_pdf(letter: Letter) -> bytes:
    """The letter as PDF. Raises MalformedInput for a table whose rows do not fit its columns, TooLarge."""
    if any(len(row) != len(letter.columns) for row in letter.rows):
        raise MalformedInput("a row of the table does not fit its columns", expected=len(letter.columns), where="rows")
    if len(letter.rows) > MOST_ROWS:
        raise TooLarge("letter has too many rows", expected=f"at most {MOST_ROWS}", got=len(letter.rows))
    pdf = _document(letter)
    _head(pdf, letter)
    _text(pdf, letter)
    if letter.columns and letter.rows:
        _table(pdf, letter)
    _closing(pdf, letter)
    return bytes(pdf.output())


def printable(text: str) -> str:
    """The text as the fonts of a letter can print it."""
    plain = unicodedata.normalize("NFC", text).translate(_PUNCTUATION)
    return "".join(_printable(letter) for letter in plain)


def _printable(letter: str) -> str:
    if letter == "\n" or (letter.isprintable() and ord(letter) < 256):
        return letter
    base = unicodedata.normalize("NFD", letter)[:1]
    return base if base.isprintable() and ord(base) < 256 else "?"


def _document(letter: Letter) -> FPDF:
    # It takes half a second to import, and a service that writes no letter need not wait for it.
    from fpdf import FPDF  # noqa: PLC0415

    reference = printable(letter.reference)

    class _Document(FPDF):
        """Writes the reference and the number of each page at its foot."""

        def footer(self) -> None:
            self.set_font("Helvetica", "", 8)
            self.set_text_color(_GREY)
            self.set_xy(_LEFT, _HEIGHT - 14)
            self.cell(_WIDE / 2, 4, reference, align="L")
            # Set from the left: how many pages there are is put in last, and is not known to the setting of a line.
            self.set_xy(_WIDTH - _RIGHT - 20, _HEIGHT - 14)
            self.cell(20, 4, f"Page {self.page_no()} of {{nb}}", align="L")
            self.set_text_color(0)

    pdf = _Document(unit="mm", format="A4")
    pdf.set_margins(_LEFT, _TOP, _RIGHT)
    pdf.set_auto_page_break(True, margin=_BOTTOM)
    pdf.c_margin = 0
    pdf.set_title(printable(letter.subject))
    pdf.set_creation_date(dt.datetime.combine(letter.on, dt.time(12), tzinfo=dt.UTC))
    pdf.add_page()
    return pdf


def _head(pdf: FPDF, letter: Letter) -> None:
    """The sender across the top, the addressee where a window envelope shows it, date and reference at the right."""
    sender = [printable(line) for line in letter.sender]
    pdf.set_font("Helvetica", "B", 12)
    pdf.set_xy(_LEFT, _TOP)
    pdf.cell(_WIDE, 6, sender[0] if sender else "")
    pdf.set_font("Helvetica", "", 8.5)
    pdf.set_text_color(_GREY)
    for number, line in enumerate(sender[1:]):
        pdf.set_xy(_LEFT, _TOP + 6.5 + 4 * number)
        pdf.cell(_WIDE, 4, line)
    pdf.set_text_color(0)
    top = max(50.0, _TOP + 12 + 4 * len(sender))
    pdf.set_font("Helvetica", "", 10.5)
    pdf.set_xy(_LEFT, top)
    to = "\n".join(printable(line) for line in letter.to)
    pdf.multi_cell(_WIDE * 0.6, _LINE, to, align="L", new_x="LMARGIN", new_y="NEXT")
    low = pdf.get_y()
    for number, line in enumerate((letter.on.isoformat(), letter.reference)):
        pdf.set_xy(_LEFT + _WIDE * 0.6, top + _LINE * number)
        pdf.cell(_WIDE * 0.4, _LINE, printable(line), align="R")
    pdf.set_xy(_LEFT, max(low, top + 22) + 6)


def _text(pdf: FPDF, letter: Letter) -> None:
    pdf.set_font("Helvetica", "B", 12)
    pdf.multi_cell(_WIDE, 6, printable(letter.subject), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.ln(3)
    pdf.set_font("Helvetica", "", 10.5)
    for paragraph in letter.paragraphs:
        pdf.multi_cell(_WIDE, _LINE, printable(paragraph), align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.ln(2.5)


def _table(pdf: FPDF, letter: Letter) -> None:
    columns = [printable(column) for column in letter.columns]
    rows = [[printable(cell) for cell in row] for row in letter.rows]
    widths = _widths(pdf, columns, rows)
    pdf.ln(1)
    _headings(pdf, columns, widths)
    for row in rows:
        pdf.set_font("Helvetica", "", 9)
        lines = max(_lines(pdf, cell, width - _PAD) for cell, width in zip(row, widths, strict=True))
        height = lines * (_ROW - 1) + 1
        if pdf.get_y() + height > _HEIGHT - _BOTTOM:
            pdf.add_page()
            _headings(pdf, columns, widths)
            pdf.set_font("Helvetica", "", 9)
        _row(pdf, row, widths, height)
    pdf.ln(4)


def _lines(pdf: FPDF, cell: str, width: float) -> int:
    """How many lines a cell takes in the current font."""
    if pdf.get_string_width(cell) <= width and "\n" not in cell:
        return 1
    lines: Any = pdf.multi_cell(width, _ROW - 1, cell, align="L", dry_run=True, output="LINES")
    return len(lines)


def _widths(pdf: FPDF, columns: list[str], rows: list[list[str]]) -> list[float]:
    """What each column needs for its longest cell; the widest give way where that is too much, all grow where it is less."""
    needs = []
    for place, column in enumerate(columns):
        pdf.set_font("Helvetica", "B", 9)
        wide = pdf.get_string_width(column)
        pdf.set_font("Helvetica", "", 9)
        longest = sorted({row[place] for row in rows}, key=len)[-20:]
        needs.append(max([wide, *map(pdf.get_string_width, longest)]) + _PAD)
    total = sum(needs)
    if total <= _WIDE:
        return [need * _WIDE / total for need in needs]
    # The widest columns share what the others leave.
    left, open_columns = _WIDE, len(needs)
    most = left / open_columns
    for need in sorted(needs):
        if need > left / open_columns:
            most = left / open_columns
            break
        left, open_columns = left - need, open_columns - 1
    return [min(need, most) for need in needs]


def _headings(pdf: FPDF, columns: list[str], widths: list[float]) -> None:
    # Headings alone at the foot of a page would stand over nothing.
    if pdf.get_y() + 3 * _ROW > _HEIGHT - _BOTTOM:
        pdf.add_page()
    pdf.set_font("Helvetica", "B", 9)
    for column, width in zip(columns, widths, strict=True):
        pdf.cell(width, _ROW + 0.6, column, align="L")
    pdf.ln(_ROW + 0.6)
    pdf.set_draw_color(0)
    pdf.set_line_width(0.3)
    pdf.line(_LEFT, pdf.get_y(), _LEFT + _WIDE, pdf.get_y())


def _row(pdf: FPDF, row: list[str], widths: list[float], height: float) -> None:
    top, x = pdf.get_y(), _LEFT
    for cell, width in zip(row, widths, strict=True):
        pdf.set_xy(x, top + 0.5)
        if _lines(pdf, cell, width - _PAD) == 1:
            pdf.cell(width - _PAD, _ROW - 1, cell, align="L")
        else:
            pdf.multi_cell(width - _PAD, _ROW - 1, cell, align="L")
        x += width
    pdf.set_draw_color(_RULE)
    pdf.set_line_width(0.1)
    pdf.line(_LEFT, top + height, _LEFT + _WIDE, top + height)
    pdf.set_xy(_LEFT, top + height)


def _closing(pdf: FPDF, letter: Letter) -> None:
    lines = [printable(line) for line in letter.closing]
    if not lines:
        return
    if pdf.get_y() + _LINE * len(lines) + 4 > _HEIGHT - _BOTTOM:
        pdf.add_page()
    pdf.ln(4)
    pdf.set_font("Helvetica", "", 10.5)
    for line in lines:
        pdf.multi_cell(_WIDE, _LINE, line, align="L", new_x="LMARGIN", new_y="NEXT")
