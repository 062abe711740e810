"""The verdicts of a dossier's sheets as one table (RFC 4180 CSV, UTF-8): a line for each ball, rulebook and requirement.

For people with a spreadsheet; it says nothing that the sheets do not, and the verifier makes it again from them, byte for
byte. Words and figures are those of the sheets; value, limit and margin are in ``unit``.
"""

from __future__ import annotations

import csv
import io

from msgspec import UNSET

from ledger.evidence.dossier_format import BallSheet, VerdictLine, VerdictTable

COLUMNS = (
    "serial", "ball", "model", "weight_class", "lot", "rulebook", "requirement", "outcome", "value", "limit", "unit",
    "margin", "decision", "house_outcome", "provenance", "fact",
)  # fmt: skip
"""The columns, in their order."""

# What begins a formula is common practice of spreadsheets, no source.
_FORMULA = frozenset("=+@\t\r\n")


class VerdictTableWriter:
    """Takes sheets in their order; keeps the text of their lines, as long as there are not too many balls."""

    def __init__(self, limit: int) -> None:
        """A table of at most ``limit`` balls; of more there is none."""
        self._limit = limit
        self._balls = 0
        self._text = io.StringIO()
        self._writer = csv.writer(self._text, lineterminator="\r\n")
        self._writer.writerow(COLUMNS)

    @property
    def is_open(self) -> bool:
        """Whether another ball may still be taken; none is after there were too many."""
        return self._balls <= self._limit

    def take(self, sheet: BallSheet) -> None:
        """Take the next ball."""
        self._balls += 1
        if self._balls > self._limit:
            self._text.truncate(0)
            return
        for table in sheet.tables:
            for line in table.verdicts:
                self._writer.writerow(_cells(sheet, table, line))

    def text(self) -> bytes | None:
        """The file; None where there are no balls, or too many for it."""
        return self._text.getvalue().encode() if 0 < self._balls <= self._limit else None


def _cells(sheet: BallSheet, table: VerdictTable, line: VerdictLine) -> list[str]:
    house = UNSET if line.house is UNSET else line.house.outcome
    cells = (
        sheet.serial, sheet.unit, sheet.model, sheet.weight_class, sheet.lot, table.id, line.requirement, line.outcome,
        line.value, line.limit, line.unit, line.margin, line.decision, house, line.provenance, line.fact,
    )  # fmt: skip
    return ["" if cell is UNSET else _plain(str(cell)) for cell in cells]


def _plain(cell: str) -> str:
    """A text that a spreadsheet would take for a formula is kept from it by a leading apostrophe."""
    return f"'{cell}" if cell[:1] in _FORMULA else cell
