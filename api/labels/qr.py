"""The QR symbol of an address: its modules, its raster, its SVG path, and the check that it reads back.

Plain QR Code Model 2 (symbology identifier ``]Q1``), error correction level Q, quiet zone of four modules on each
side (ISO/IEC 18004, by way of the libraries that make and read it).

It draws no text and knows nothing of what the address names.
"""

import re
from collections.abc import Iterator

import zxingcpp
from PIL import Image
from qrcode.constants import ERROR_CORRECT_Q  # type: ignore[import-untyped]  # the package has no type marker
from qrcode.main import QRCode  # type: ignore[import-untyped]  # the package has no type marker

from ledger.errors import LabelUnreadable, MalformedLink, TooLarge

QUIET_ZONE = 4
"""Light modules on each side of the symbol."""

LONGEST_TEXT = 300
"""Characters: far below what level Q can hold, so that the symbol stays small enough for a label."""

SMALLEST_MODULE_MM, LARGEST_MODULE_MM = 0.396, 0.990
"""The X-dimension for retail point of sale (GS1 General Specifications 5.12.3.1, as GS1 UK quotes it)."""

Matrix = tuple[tuple[bool, ...], ...]
"""Rows of modules from the top, True for dark, quiet zone included."""

_CHECK_DOTS = 4
_PATH_RUN = re.compile(r"M(\d+) (\d+)h(\d+)v1h-(\d+)z")


def qr_matrix(text: str) -> Matrix:
    """Give the modules of ``text`` at level Q; raises MalformedLink outside ASCII, TooLarge over ``LONGEST_TEXT``."""
    if not (text.isascii() and text.isprintable() and text):
        raise MalformedLink("address of a symbol is not printable ascii", got=text)
    if len(text) > LONGEST_TEXT:
        raise TooLarge(
            "address of a symbol is too long",
            expected=f"at most {LONGEST_TEXT} characters",
            got=len(text),
        )
    symbol = QRCode(error_correction=ERROR_CORRECT_Q, border=QUIET_ZONE)
    symbol.add_data(text, optimize=0)
    symbol.make(fit=True)
    return tuple(tuple(bool(module) for module in row) for row in symbol.get_matrix())


def module_runs(matrix: Matrix) -> Iterator[tuple[int, int, int]]:
    """Give each longest horizontal run of dark modules as ``(x, y, length)``, from the top left."""
    for y, row in enumerate(matrix):
        x = 0
        while x < len(row):
            length = 0
            while x + length < len(row) and row[x + length]:
                length += 1
            if length:
                yield x, y, length
            x += length + 1


def qr_raster(matrix: Matrix, dots: int) -> Image.Image:
    """Give the symbol in grey (0 dark, 255 light), each module ``dots`` by ``dots`` pixels."""
    side = len(matrix)
    grey = bytes(0 if module else 255 for row in matrix for module in row)
    return Image.frombytes("L", (side, side), grey).resize((side * dots, side * dots), Image.Resampling.NEAREST)


def format_path(matrix: Matrix) -> str:
    """Give the SVG path of the dark modules, one module a unit: ``Mx yhNv1h-Nz`` for each run."""
    return "".join(f"M{x} {y}h{length}v1h-{length}z" for x, y, length in module_runs(matrix))


def parse_path(path: str, side: int) -> Matrix:
    """Read a path of ``format_path`` back into ``side`` rows of modules.

    Raises LabelUnreadable for any other path, or one that leaves the square.
    """
    rows = [[False] * side for _ in range(side)]
    end = 0
    for run in _PATH_RUN.finditer(path):
        x, y, length, back = (int(number) for number in run.groups())
        if run.start() != end or back != length or y >= side or x + length > side:
            break
        rows[y][x : x + length] = [True] * length
        end = run.end()
    if end != len(path) or not path:
        raise LabelUnreadable("path of the symbol cannot be read back", where=f"character {end}")
    return tuple(tuple(row) for row in rows)


def decode_check(symbol: Image.Image | Matrix, expected: str) -> None:
    """Return if ``symbol`` holds exactly one QR code, it reads ``expected``, and its level is Q.

    Raises LabelUnreadable otherwise.  An image is read as it is, in grey; a matrix at four dots a module.
    """
    image = symbol if isinstance(symbol, Image.Image) else qr_raster(symbol, _CHECK_DOTS)
    found = zxingcpp.read_barcodes(image.convert("L"), formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
    if len(found) != 1:
        raise LabelUnreadable(
            "label does not hold one symbol that can be read",
            expected=1,
            got=len(found),
        )
    if found[0].text != expected:
        raise LabelUnreadable("label reads as another address", expected=expected, got=found[0].text)
    if found[0].ec_level != "Q":
        raise LabelUnreadable(
            "label has another error correction level",
            expected="Q",
            got=found[0].ec_level,
        )
