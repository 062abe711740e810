"""Cells of the tables that are handed out, kept from being taken for formulas by a spreadsheet.

What begins a formula is common practice of spreadsheets, no source.
"""

from __future__ import annotations

_FORMULA = frozenset("=+-@\t\r\n")


def plain(cell: str) -> str:
    """A text that a spreadsheet would take for a formula is kept from it by a leading apostrophe."""
    return f"'{cell}" if cell[:1] in _FORMULA else cell
