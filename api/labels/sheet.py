"""A PDF of many ball labels in a grid on A4, vector modules, and the rendering that reads a PDF back.

The same labels and creation date give the same bytes with the same versions of the libraries.
Each symbol is cropped from its own place on the rendered page and decoded there, so that a label beside the wrong
serial is found too.

It is for plain A4 paper or film; it knows no pre-cut label stock.
"""

import threading
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from typing import TYPE_CHECKING

from PIL import Image

from api.labels.ball_label import MODULE_MM, Label, printed
from api.labels.qr import Matrix, decode_check, module_runs, qr_matrix
from ledger.errors import MalformedInput, MalformedInstant, TooLarge

if TYPE_CHECKING:
    from fpdf import FPDF

MOST_LABELS = 500
RENDER_DPI = 300

_PAGE_WIDTH, _PAGE_HEIGHT, _MARGIN, _GAP = 210.0, 297.0, 10.0, 4.0  # millimetres
_TITLE_MM, _LINE_MM = 4.0, 3.0

# PDFium is not safe for threads: one caller at a time, and everything it opened is closed under the lock.
_PDFIUM = threading.Lock()


def pdf_sheet(labels: list[Label], *, created: datetime) -> bytes:
    """Give the labels as PDF, in their order, every one decoded; ``created`` is the document's date, with an offset.

    Raises MalformedInput for no label, TooLarge for over 500, MalformedInstant, LabelUnreadable.
    Cost: about a tenth of a second a page of some forty labels for rendering, and reading them.
    """
    if not labels:
        raise MalformedInput("sheet has no label", expected="at least one")
    if len(labels) > MOST_LABELS:
        raise TooLarge(
            "sheet has too many labels",
            expected=f"at most {MOST_LABELS}",
            got=len(labels),
        )
    matrices = [qr_matrix(label.link) for label in labels]
    pdf = new_pdf((_PAGE_WIDTH, _PAGE_HEIGHT), created, title="Ball labels")
    places = _places(
        max(map(len, matrices)) * MODULE_MM,
        max(len(label.lines) for label in labels),
        len(labels),
    )
    for label, matrix, (page, x, y) in zip(labels, matrices, places, strict=True):
        if page > pdf.page:
            pdf.add_page()
        draw_symbol(pdf, matrix, (x, y), MODULE_MM)
        _draw_texts(pdf, label, len(matrix) * MODULE_MM, x, y)
    finished = bytes(pdf.output())
    sides = [len(matrix) * MODULE_MM for matrix in matrices]
    _check_places(finished, labels, places, sides)
    return finished


def new_pdf(paper: tuple[float, float], created: datetime, *, title: str) -> "FPDF":
    """Give an empty document without page breaks of its own; ``paper`` is (width, height) in mm; raises MalformedInstant for a date without offset."""
    if created.tzinfo is None:
        raise MalformedInstant("creation date of a document has no offset", got=created.isoformat())
    # It takes half a second to import, and a service that prints no sheet need not wait for it.
    from fpdf import FPDF  # noqa: PLC0415

    pdf = FPDF(unit="mm", format=paper)
    pdf.set_auto_page_break(False)
    pdf.c_margin = 0
    pdf.set_title(printed(title))
    pdf.set_creation_date(created)
    return pdf


def draw_symbol(pdf: "FPDF", matrix: Matrix, corner: tuple[float, float], module_mm: float) -> None:
    """Draw the dark modules as filled rectangles on the current page; ``corner`` is the top left of the quiet zone."""
    left, top = corner
    pdf.set_fill_color(0)
    for x, y, length in module_runs(matrix):
        pdf.rect(
            left + x * module_mm,
            top + y * module_mm,
            length * module_mm,
            module_mm,
            style="F",
        )


def draw_fitted(pdf: "FPDF", text: str, box: tuple[float, float, float, float], *, align: str = "C") -> None:
    """Write one line in the current font into ``box`` (x, y, width, height in mm), smaller if it would not fit."""
    x, y, width, height = box
    shown, size = printed(text), pdf.font_size_pt
    wide = pdf.get_string_width(shown)
    if wide > width:
        pdf.set_font_size(size * width / wide)
    pdf.set_xy(x, y)
    pdf.cell(width, height, shown, align=align)
    pdf.set_font_size(size)


def rendered_pages(pdf: bytes) -> Iterator[Image.Image]:
    """Give each page of a PDF in grey at 300 dpi, one at a time."""
    with _PDFIUM:
        import pypdfium2  # type: ignore[import-untyped]  # noqa: PLC0415  # no type marker; slow to import, as above

        document = pypdfium2.PdfDocument(pdf)
        count = len(document)
    try:
        for number in range(count):
            with (
                _PDFIUM,
                closing(document[number]) as page,
                closing(page.render(scale=RENDER_DPI / 72, grayscale=True)) as bitmap,
            ):
                image = bitmap.to_pil().copy()
            yield image
    finally:
        with _PDFIUM:
            document.close()


def cropped(page: Image.Image, corner: tuple[float, float], side_mm: float) -> Image.Image:
    """Give the square of a rendered page whose top left is ``corner`` (mm) and whose side is ``side_mm``."""
    edges = (corner[0], corner[1], corner[0] + side_mm, corner[1] + side_mm)
    left, top, right, bottom = (round(edge * RENDER_DPI / 25.4) for edge in edges)
    return page.crop((left, top, right, bottom))


def _places(side: float, lines: int, count: int) -> list[tuple[int, float, float]]:
    """Give the page (from 1) and top left corner of each label, row by row."""
    width, height = side + _GAP, side + _TITLE_MM + _LINE_MM * lines + _GAP
    columns = max(1, int((_PAGE_WIDTH - 2 * _MARGIN + _GAP) // width))
    rows = max(1, int((_PAGE_HEIGHT - 2 * _MARGIN + _GAP) // height))
    places = []
    for number in range(count):
        page, rest = divmod(number, columns * rows)
        row, column = divmod(rest, columns)
        places.append((page + 1, _MARGIN + column * width, _MARGIN + row * height))
    return places


def _draw_texts(pdf: "FPDF", label: Label, side: float, x: float, y: float) -> None:
    pdf.set_font("Courier", "B", 10)
    draw_fitted(pdf, label.serial, (x, y + side, side, _TITLE_MM))
    pdf.set_font("Helvetica", "", 7)
    for place, line in enumerate(label.lines):
        draw_fitted(pdf, line, (x, y + side + _TITLE_MM + _LINE_MM * place, side, _LINE_MM))


def _check_places(
    pdf: bytes,
    labels: list[Label],
    places: list[tuple[int, float, float]],
    sides: list[float],
) -> None:
    expected = list(zip(labels, places, sides, strict=True))
    for number, image in enumerate(rendered_pages(pdf), 1):
        for label, (page, x, y), side in expected:
            if page == number:
                decode_check(cropped(image, (x, y), side), label.link)
