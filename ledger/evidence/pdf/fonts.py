"""The typeface of a report: PT Sans (ParaType, SIL Open Font License 1.1), out of an installed package.

PDF/A asks that every font is embedded (ISO 19005-3, 6.2.11.4; clause from memory), so the standard fonts of PDF do not
do.  The face is static, since a variable one takes a minute to fix; its digits are of one width, so figures stand in
columns.  What it cannot print keeps its base letter, and is a question mark where there is none: a glyph that is missing
is not allowed either, and the files in the report have every text as it was written.
"""

from __future__ import annotations

import importlib.resources
import unicodedata
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.errors import Unsupported

if TYPE_CHECKING:
    from fpdf import FPDF

FAMILY = "report"
_PACKAGE = "fontpkg_pt_sans"
_FILES = {"": "PT_Sans-Web-Regular.ttf", "B": "PT_Sans-Web-Bold.ttf", "I": "PT_Sans-Web-Italic.ttf"}
_ALIKE = str.maketrans({"\u03bc": "\u00b5", "\u00a0": " ", "\u2009": " ", "\u202f": " ", "\u2011": "-", "\u2212": "-"})


def add_fonts(pdf: FPDF) -> None:
    """Make the three cuts known to a document. Raises Unsupported where the package of the typeface is not installed."""
    for style, file in _font_files().items():
        pdf.add_font(FAMILY, style, file)


@cache
def _font_files() -> dict[str, Path]:
    try:
        folder = importlib.resources.files(_PACKAGE) / "files"
    except ModuleNotFoundError as error:
        raise Unsupported(
            "a report needs packages that are not installed", got=_PACKAGE, mend="install the extra: pourbook[evidence]"
        ) from error
    return {style: Path(str(folder / name)) for style, name in _FILES.items()}


class Printable:
    """Texts as the typeface can print them."""

    def __init__(self, known: frozenset[int]) -> None:
        """``known``: the code points of the typeface."""
        self._letters = _Letters(known)

    def __call__(self, text: str) -> str:
        """The text, in one line, with a base letter or a question mark for each letter that is not known."""
        plain = unicodedata.normalize("NFC", text).translate(_ALIKE)
        return " ".join(plain.split()).translate(self._letters)


class _Letters(dict[int, str]):
    """What is printed for a code point; each is looked at once."""

    def __init__(self, known: frozenset[int]) -> None:
        super().__init__()
        self._known = known

    def __missing__(self, point: int) -> str:
        letter = chr(point)
        if point not in self._known:
            base = unicodedata.normalize("NFKD", letter)[:1]
            letter = base if ord(base) in self._known and base.isprintable() else "?"
        self[point] = letter
        return letter
