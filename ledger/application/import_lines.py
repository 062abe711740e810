"""A file of lines: CSV in UTF-8 with a header, read a stretch at a time.

RFC 4180 with commas; a byte order mark is taken off; spaces around a cell are not part of it; an empty cell says nothing.
What is wrong with the file itself (encoding, quoting, header, size) refuses it whole; what is wrong with a line is that
line's alone.  Empty lines at the end are left aside.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import msgspec

from ledger.application.import_columns import COLUMNS, Cells, LineFault
from ledger.errors import MalformedInput, TooLarge
from ledger.line.imports import Sort

MEDIA_TYPE = "text/csv"

MOST_BYTES = 32 * 1024 * 1024
"""Bytes of a file."""

MOST_LINES = 200_000
"""Lines of a file after its header."""

AT_ONCE: dict[Sort, int] = {"balls": 100, "shipments": 100, "claims": 30}
"""Lines of one entry at most. Fixed for ever, as is what follows: by it a file goes on where it stopped."""

_MOST_COST = 60_000
_BASE: dict[Sort, int] = {"balls": 400, "shipments": 400, "claims": 2_000}
_SEALED = frozenset({"note", "consignee", "drilled_by", "claimant", "contact"})
_COMMITMENT = 90


class Raw(NamedTuple):
    """A line as it came: its number in the file, from 1 and the header's being 1, and its cells or what is wrong."""

    line: int
    cells: Cells | None
    fault: LineFault | None


class Stretch(NamedTuple):
    """Lines that are entered together: ``first`` to ``last`` after the header, from 1."""

    first: int
    lines: tuple[Raw, ...]

    @property
    def last(self) -> int:
        """The number of its last line."""
        return self.first + len(self.lines) - 1


class ImportFile:
    """A file that can be read: its text is UTF-8 and CSV, and its header names known columns."""

    def __init__(self, raw: bytes, what: Sort) -> None:
        """Check the file. Raises MalformedInput naming the line, TooLarge. Cost: it is read through once."""
        if len(raw) > MOST_BYTES:
            raise TooLarge(
                "file is too long",
                expected=f"at most {MOST_BYTES:,} bytes",
                got=len(raw),
                where="file",
                mend="split it",
            )
        self.what = what
        self.digest = hashlib.sha256(raw).hexdigest()
        self._text = _text_of(raw)
        self._header = self._checked_header()
        self.count = self._counted()

    def stretches(self) -> Iterator[Stretch]:
        """The lines in the stretches in which they are entered, read as they are asked for."""
        first, lines, used = 1, list[Raw](), 0
        for number, (line, row) in enumerate(self._rows(), 1):
            if number > self.count:
                break
            raw = self._raw(line, row)
            cost = _cost(self.what, raw)
            if lines and (len(lines) == AT_ONCE[self.what] or used + cost > _MOST_COST):
                yield Stretch(first, tuple(lines))
                first, lines, used = first + len(lines), [], 0
            lines.append(raw)
            used += cost
        if lines:
            yield Stretch(first, tuple(lines))

    def _rows(self) -> Iterator[tuple[int, list[str]]]:
        """Each row after the header with the number of its first line."""
        rows = _reader(self._text)
        next(rows)
        line = rows.line_num + 1
        for row in rows:
            yield line, row
            line = rows.line_num + 1

    def _raw(self, line: int, row: list[str]) -> Raw:
        if len(row) != len(self._header):
            said = f"expected {len(self._header)} cells as in the header, got {len(row)}"
            return Raw(line, None, LineFault("malformed-line", "", said, "quote cells that hold a comma"))
        stripped = ((name, cell.strip()) for name, cell in zip(self._header, row, strict=True))
        return Raw(line, Cells(self.digest, line, {name: cell for name, cell in stripped if cell}), None)

    def _checked_header(self) -> list[str]:
        try:
            found: list[str] = next(_reader(self._text), [])
        except csv.Error as error:
            raise _not_csv(error, 1) from error
        header = [name.strip().lower() for name in found]
        known = [column.name for column in COLUMNS[self.what]]
        unknown = [name for name in header if name not in known]
        twice = [name for name in known if header.count(name) > 1]
        missing = [column.name for column in COLUMNS[self.what] if column.required and column.name not in header]
        for problem, names in (
            ("header names a column that is not known", unknown),
            ("header names a column twice", twice),
            ("header misses a column", missing),
        ):
            if names:
                raise MalformedInput(
                    problem,
                    expected=f"columns of {self.what}: {', '.join(known)}",
                    got=", ".join(name or "an empty name" for name in names),
                    where="line 1",
                    mend="name each column as listed, with commas between; leave out what the book does not take",
                )
        return header

    def _counted(self) -> int:
        """How many lines there are up to the last that is not empty."""
        count, line = 0, 2
        try:
            for number, (line, row) in enumerate(self._rows(), 1):  # noqa: B007  # the line is named where reading ends
                if any(cell.strip() for cell in row):
                    count = number
                if count > MOST_LINES:
                    raise TooLarge(
                        "file has too many lines", expected=f"at most {MOST_LINES:,}", where="file", mend="split it"
                    )
        except csv.Error as error:
            raise _not_csv(error, line) from error
        if not count:
            raise MalformedInput(
                "file has no lines after its header", where="line 2", mend="send a file with a line at least"
            )
        return count


def _cost(what: Sort, raw: Raw) -> int:
    """Bytes that a line takes up in an entry at most, as it is said or sealed, with its findings."""
    cells: Mapping[str, str] = {} if raw.cells is None else raw.cells.cells
    size = {name: len(msgspec.json.encode(cell)) + len(name) + 4 for name, cell in cells.items()}
    # A claim and its decision bear the note both.
    twice = size.get("note", 0) + _COMMITMENT if what == "claims" and "note" in cells else 0
    return _BASE[what] + sum(size.values()) + twice + _COMMITMENT * len(_SEALED & size.keys())


def _reader(text: str) -> Any:
    return csv.reader(io.StringIO(text, newline=""), strict=True)


def _text_of(raw: bytes) -> str:
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise MalformedInput(
            "file is not text in UTF-8",
            got=f"byte {raw[error.start]:02X}",
            where=f"line {line}",
            mend="save it as CSV in UTF-8",
        ) from error
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise MalformedInput("file holds a zero byte", where=f"line {line}", mend="save it as CSV in UTF-8")
    return text


def _not_csv(error: csv.Error, line: int) -> MalformedInput:
    return MalformedInput(
        f"file is not CSV: {error}",
        where=f"line {line} or after",
        mend='close each quoted cell, and write "" for a quote',
    )
