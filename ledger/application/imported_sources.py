"""Where balls that were made before this book come from, in words: the file and the line that they were imported from."""

from __future__ import annotations

from collections.abc import Collection

from ledger.errors import NotFound
from ledger.line.import_rows import MADE_BEFORE, ImportedUnit
from ledger.store.reader import Reader
from ledger.store.selections import rows_with


def imported_sources(reader: Reader, units: Collection[str]) -> dict[str, ImportedUnit]:
    """The sources of those of some balls that were imported. One query."""
    return {row.unit: row for row in rows_with(reader, ImportedUnit, "unit", units)} if units else {}


def source_words(row: ImportedUnit) -> str:
    """That the ball was made before this book, and the line that says so."""
    return f"{MADE_BEFORE}; from line {row.line} of file {row.file}"


def refuse_imported(reader: Reader, units: Collection[str]) -> None:
    """Return if none of some balls was made before the book. Raises NotFound naming the first: there is no evidence of it."""
    sources = imported_sources(reader, units)
    if sources:
        unit = min(sources)
        raise NotFound(
            f"unit {unit} was made before this book, which holds no evidence of its making",
            expected="balls made in this book",
            got=f"line {sources[unit].line} of an imported file",
            where="serials",
            mend="leave it out; GET /balls/{unit} shows what the file said of it",
        )
