"""The label of one ball: a QR symbol of its address, its serial in text below, and lines such as model and grade.

As SVG (one unit a module, sized in millimetres) and as PNG of one bit a pixel (whole printer dots a module).
The text stands below the quiet zone.  The bytes are read back before they are returned.

Which ball gets which lines, and whether it may have a label at all, is decided elsewhere.
"""

import io
import unicodedata
from dataclasses import dataclass
from xml.etree import ElementTree
from xml.sax.saxutils import escape

from PIL import Image, ImageDraw, ImageFont

from api.labels.qr import (
    LARGEST_MODULE_MM,
    SMALLEST_MODULE_MM,
    Matrix,
    decode_check,
    format_path,
    parse_path,
    qr_matrix,
    qr_raster,
)
from ledger.errors import LabelUnreadable, MalformedInput, MalformedLink
from ledger.line.gs1 import parse_link
from ledger.line.serial import check_serial_text

MODULE_MM = 0.508
"""Side of a module where nothing else is asked: six dots at 300 dpi."""

MOST_LINES, LONGEST_LINE = 4, 60

_TITLE, _LINE, _FOOT = 6, 4, 2  # heights in modules
_SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True, slots=True)
class Label:
    """What a ball's label says; the address must name the serial.

    Raises MalformedLink, MalformedSerial, or MalformedInput for a line that cannot be printed.
    """

    link: str
    serial: str
    lines: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Check the parts against each other."""
        check_serial_text(self.serial)
        named = parse_link(self.link).serial
        if named != self.serial:
            raise MalformedLink("label address names another serial", expected=self.serial, got=named)
        check_lines(self.lines)


def svg_label(link: str, serial: str, lines: tuple[str, ...] = (), *, module_mm: float = MODULE_MM) -> bytes:
    """Give the label as SVG, its path read back and decoded.

    Raises what ``Label`` raises, MalformedInput for a module outside 0.396 to 0.990 mm, LabelUnreadable.
    """
    label = Label(link, serial, lines)
    _check_module(module_mm)
    matrix = qr_matrix(label.link)
    side = len(matrix)
    height = side + _TITLE + _LINE * len(lines) + _FOOT
    texts = [_svg_text(serial, side + _TITLE - 1, 0.8 * _TITLE, side, family="monospace")]
    texts += [
        _svg_text(
            line,
            side + _TITLE + _LINE * (place + 1) - 1,
            0.8 * _LINE,
            side,
            family="sans-serif",
        )
        for place, line in enumerate(lines)
    ]
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{side * module_mm:.3f}mm" height="{height * module_mm:.3f}mm" '
        f'viewBox="0 0 {side} {height}" role="img"><title>{escape(serial)}</title>'
        f'<rect width="{side}" height="{height}" fill="#fff"/>'
        f'<path d="{format_path(matrix)}" fill="#000" shape-rendering="crispEdges"/>{"".join(texts)}</svg>\n'
    ).encode()
    _check_svg(svg, label.link)
    return svg


def png_label(
    link: str,
    serial: str,
    lines: tuple[str, ...] = (),
    *,
    dpi: int = 300,
    dots: int | None = None,
) -> bytes:
    """Give the label as PNG of one bit a pixel, decoded; without ``dots``, ``dots_for(dpi)`` to a module.

    Raises what ``Label`` raises, MalformedInput for dots outside 0.396 to 0.990 mm, LabelUnreadable.
    """
    label = Label(link, serial, lines)
    return captioned_png(label.link, label.serial, label.lines, dpi=dpi, dots=dots)


def dots_for(dpi: int) -> int:
    """Give the whole number of printer dots that comes nearest to a module of ``MODULE_MM``: 4, 6, 12 at 203, 300, 600.

    Raises MalformedInput outside 100 to 2400 dpi.
    """
    if not 100 <= dpi <= 2400:
        raise MalformedInput("printer resolution is out of range", expected="100 to 2400 dpi", got=dpi)
    return max(1, round(MODULE_MM * dpi / 25.4))


def captioned_png(text: str, title: str, lines: tuple[str, ...], *, dpi: int, dots: int | None = None) -> bytes:
    """Give the symbol of ``text`` with a title and lines below it as PNG, decoded; the errors are ``png_label``'s."""
    size = dots_for(dpi) if dots is None else dots
    _check_module(size * 25.4 / dpi)
    matrix = qr_matrix(text)
    width = len(matrix) * size
    image = Image.new("1", (width, width + (_TITLE + _LINE * len(lines) + _FOOT) * size), 1)
    image.paste(qr_raster(matrix, size).convert("1"), (0, 0))
    top = width
    for place, line in enumerate((title, *lines)):
        row = (_LINE if place else _TITLE) * size
        _draw_text(image, printed(line), top, row)
        top += row
    out = io.BytesIO()
    image.save(out, "PNG", dpi=(dpi, dpi))
    with Image.open(io.BytesIO(out.getvalue())) as finished:
        decode_check(finished, text)
    return out.getvalue()


def check_lines(lines: tuple[str, ...]) -> None:
    """Return if the lines can stand on a label: at most 4 of 1 to 60 printable characters; raise MalformedInput if not."""
    if len(lines) > MOST_LINES:
        raise MalformedInput("label has too many lines", expected=f"at most {MOST_LINES}", got=len(lines))
    for place, line in enumerate(lines, 1):
        if not (1 <= len(line) <= LONGEST_LINE and line.isprintable()):
            raise MalformedInput(
                "label line cannot be printed",
                expected=f"1 to {LONGEST_LINE} printable characters",
                got=line,
                where=f"line {place}",
            )


def printed(text: str) -> str:
    """Give ``text`` as the built-in fonts can print it: Latin-1, else without accents, else ``?``.

    Only text beside the symbol goes this way; the address in it, and a serial, are ASCII and stay exact.
    """
    folded = ""
    for character in text:
        try:
            character.encode("latin-1")
            folded += character
        except UnicodeEncodeError:
            plain = unicodedata.normalize("NFKD", character).encode("latin-1", "ignore").decode("latin-1")
            folded += plain or "?"
    return folded


def _check_module(module_mm: float) -> None:
    # Half a thousandth of slack, so that whole dots at the very limit are not refused for their rounding.
    if not SMALLEST_MODULE_MM - 0.0005 <= module_mm <= LARGEST_MODULE_MM + 0.0005:
        raise MalformedInput(
            "module of the symbol has a wrong size",
            expected=f"{SMALLEST_MODULE_MM} to {LARGEST_MODULE_MM} mm",
            got=f"{module_mm:.3f} mm",
            mend="choose more or fewer dots to a module",
        )


def _svg_text(text: str, baseline: int, size: float, width: int, *, family: str) -> str:
    # 0.62 em is about the advance of a wide character in common fonts; it only keeps long lines inside the label.
    fitted = min(size, (width - 2) / (0.62 * len(text)))
    return (
        f'<text x="{width / 2:g}" y="{baseline}" font-size="{fitted:.2f}" font-family="{family}" '
        f'text-anchor="middle" fill="#000">{escape(text)}</text>'
    )


def _check_svg(svg: bytes, link: str) -> None:
    root = ElementTree.fromstring(svg)  # noqa: S314  # our own bytes, written by the caller
    side = int(root.get("viewBox", "0 0 0 0").split()[2])
    path = root.find(f"{_SVG}path")
    if path is None or root.find(f"{_SVG}rect") is None:
        raise LabelUnreadable("label has no symbol on a light ground")
    matrix: Matrix = parse_path(path.get("d", ""), side)
    decode_check(matrix, link)


def _draw_text(image: Image.Image, text: str, top: int, row: int) -> None:
    pixels = max(6, int(0.8 * row))
    font = ImageFont.load_default(pixels)
    while pixels > 6 and font.getlength(text) > image.width * 0.96:
        pixels -= 1
        font = ImageFont.load_default(pixels)
    ImageDraw.Draw(image).text((image.width / 2, top + row / 2), text, fill=0, font=font, anchor="mm")
