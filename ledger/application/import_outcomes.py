"""What became of each line of an imported file, told as CSV; and of lines that were entered before, read from the book."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any, BinaryIO, Literal

import msgspec

from ledger.application.plain_cells import plain
from ledger.line.fact import Breach
from ledger.line.import_rows import ImportedStretch
from ledger.store.bodies import decode_said
from ledger.store.entry_breaches import breaches_at
from ledger.store.openings import openings_between
from ledger.store.reader import Reader

HEADER = ("line", "outcome", "entry", "code", "column", "reason", "mend")

ERASED = "what was said of it is erased"


class LineOutcome(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One line of a file. ``entry``: the address of its fact, empty in a dry run and for one that was refused.

    ``code`` and ``reason``: why it was refused, or what an accepted one was flagged with.
    """

    line: int
    outcome: Literal["accepted", "refused"]
    entry: str = ""
    code: str = ""
    column: str = ""
    reason: str = ""
    mend: str = ""


def accepted(line: int, entry: str, breaches: Iterable[Breach]) -> LineOutcome:
    """A line that is entered, with what its records were flagged with."""
    found = list(breaches)
    return LineOutcome(
        line=line,
        outcome="accepted",
        entry=entry,
        code="; ".join(dict.fromkeys(breach.code for breach in found)),
        reason="; ".join(breach.said for breach in found),
        mend="; ".join(dict.fromkeys(breach.mend for breach in found if isinstance(breach.mend, str))),
    )


def entered_stretches(reader: Reader, file: str, what: str) -> dict[int, ImportedStretch]:
    """The stretches of a file whose lines are in the book, by their first line."""
    return {row.first: row for row in reader.rows(ImportedStretch, "file", file) if row.what == what}


def outcomes_before(reader: Reader, stretch: ImportedStretch) -> list[LineOutcome]:
    """What became of the lines of a stretch that is in the book, in the order of the file."""
    index = int(stretch.address.partition(".")[0])
    said = decode_said(reader.entry(index).bytes)
    opened = {one.opening.path: one.opening.value for one in openings_between(reader.transaction, index, index + 1)}
    head, *records = said.said["records"]
    found = [
        LineOutcome(
            line=refused["line"],
            outcome="refused",
            code=refused["code"],
            column=refused.get("column", ""),
            reason=str(opened.get(f"0/refused/{place}/said", ERASED)),
        )
        for place, refused in enumerate(head.get("refused", ()))
    ]
    found += _accepted(records, index, lambda place: breaches_at(said.breaches, place))
    return sorted(found, key=lambda outcome: outcome.line)


def _accepted(records: Sequence[Any], index: int, breaches_of: Any) -> list[LineOutcome]:
    """A line's records follow each other; the first of them names the line."""
    found: list[tuple[int, str, list[Breach]]] = []
    for place, record in enumerate(records, 1):
        if "imported" in record:
            found.append((record["imported"]["line"], f"{index}.{place}", []))
        found[-1][2].extend(breaches_of(place))
    return [accepted(line, entry, breaches) for line, entry, breaches in found]


class OutcomeTable:
    """The answer as CSV in UTF-8, written as it is made; and what it counts."""

    def __init__(self, out: BinaryIO | None) -> None:
        """Write the header; with no ``out`` only count."""
        self._out = out
        self.accepted = self.refused = 0
        self._write([HEADER])

    def add(self, outcomes: Sequence[LineOutcome]) -> None:
        """Write the lines that came next."""
        self.accepted += sum(outcome.outcome == "accepted" for outcome in outcomes)
        self.refused += sum(outcome.outcome == "refused" for outcome in outcomes)
        self._write(tuple(map(_cell, msgspec.structs.astuple(outcome))) for outcome in outcomes)

    def _write(self, rows: Iterable[Sequence[Any]]) -> None:
        if self._out is not None:
            text = io.StringIO(newline="")
            csv.writer(text).writerows(rows)
            self._out.write(text.getvalue().encode())


def _cell(value: Any) -> Any:
    return plain(value) if isinstance(value, str) else value
