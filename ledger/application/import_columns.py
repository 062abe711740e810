"""What an imported file may hold: the columns of each sort, and what each becomes. The header names them, in any order.

This table is what a refusal quotes, and what `pourbook import --columns` and the service's description print.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from typing import Any, NamedTuple

import msgspec

from ledger.book.instant import Instant, format_instant
from ledger.errors import LedgerError, MalformedRecord, MalformedSerial
from ledger.line.claims import ClaimDecided, ClaimOpened
from ledger.line.imports import BallImported, ShipmentImported, Sort
from ledger.line.record import Record

_ID = "an upper-case id of 1 to 40 characters, A-Z 0-9 . _ -"
_WORD = "a lower-case word of 1 to 40 characters, a-z 0-9 . _ -"
_DATE = "a date YYYY-MM-DD, not after today"
_TEXT = "text of 1 to 2000 characters"
_SERIAL = "a number of 1 to 20 characters that a label can carry, without / % + and space"
_GRADE = "first, second, house, prototype or demo"
_MOST_TEXT = 2_000


class Column(NamedTuple):
    """A column: its name in the header, whether each line needs it, and what a cell holds, in words."""

    name: str
    holds: str
    required: bool = False
    day: bool = False


COLUMNS: Mapping[Sort, tuple[Column, ...]] = {
    "balls": (
        Column("made_on", _DATE, required=True, day=True),
        Column("serial", f"{_SERIAL}; it may repeat, or be missing"),
        Column("model", f"{_ID}, of a model of this book"),
        Column("weight_class", "whole pounds, 4 to 16"),
        Column("colours", "lower-case words with / between, such as blue/pearl"),
        Column("grade", _GRADE),
        Column("unit", f"{_ID}; left out, the book makes one of the file and the line"),
        Column("note", _TEXT),
    ),
    "shipments": (
        Column("shipment", _ID, required=True),
        Column("shipped_on", _DATE, required=True, day=True),
        Column("serial", f"{_SERIAL}, of one ball alone; or give unit"),
        Column("unit", _ID),
        Column("model", f"{_ID}, to tell apart balls with one serial"),
        Column("to", f"{_ID}, of a registered consignee"),
        Column("consignee", "name of a consignee that is not registered, up to 200 characters"),
        Column("purpose", "sale, sample, test, warranty, display or other"),
        Column("note", _TEXT),
    ),
    "claims": (
        Column("claim", _ID, required=True),
        Column("opened_on", _DATE, required=True, day=True),
        Column("mode", f"{_WORD}, of a failure mode of this book", required=True),
        Column("serial", "the number as read, 1 to 20 characters"),
        Column("unit", _ID),
        Column("bought_on", _DATE, day=True),
        Column("proof", "receipt, registration, dealer or none"),
        Column("stored", "indoors, vehicle, unheated, outdoors or unknown"),
        Column("drilled_on", _DATE, day=True),
        Column("drilled_by", _TEXT),
        Column("layout", _WORD),
        Column("fitted", "none, plug, inserts or both"),
        Column("claimant", _TEXT),
        Column("contact", _TEXT),
        Column("via", f"{_ID}, of a registered consignee"),
        Column("market", _WORD),
        Column("keep_until", "a date YYYY-MM-DD"),
        Column("decision", "accept, reject or goodwill; with decided_on and reason"),
        Column("reason", f"{_WORD}, of the reasons for a decision"),
        Column("decided_on", _DATE, day=True),
        Column("note", _TEXT),
    ),
}
"""By sort, in the order in which they are told."""

_FIELDS = {
    "drilled_on": "drilled.on",
    "drilled_by": "drilled.by",
    "layout": "drilled.layout",
    "fitted": "drilled.fitted",
}
_COLUMN_OF = {
    **{field: column for column, field in _FIELDS.items()},
    "imported.file": "unit",
    "units": "serial",
}
_AT = re.compile(r" - at `\$\.?(?P<path>[^`]*)`$")


class LineFault(Exception):
    """Why a line is refused: it stands in the answer, and no caller sees it raised. ``said``: expected and got, in words."""

    def __init__(self, code: str, column: str, said: str, mend: str = "") -> None:
        """Keep the parts."""
        super().__init__(said)
        self.code, self.column, self.said, self.mend = code, column, said, mend


class Cells(NamedTuple):
    """One line with its cells by column; empty cells are left out."""

    file: str
    line: int
    cells: Mapping[str, str]


def check_cells(what: Sort, line: Cells, today: str) -> None:
    """Return if the cells can be what their columns hold, as far as that is seen here. Raises LineFault."""
    for column in COLUMNS[what]:
        cell = line.cells.get(column.name)
        if cell is None:
            if column.required:
                raise LineFault("missing-value", column.name, f"expected {column.holds}, got nothing", "fill it in")
            continue
        if not unicodedata.is_normalized("NFC", cell):
            said = "expected text in Unicode normalization form C, got another form"
            raise LineFault("malformed-text", column.name, said, "save the file with composed characters")
        if any(unicodedata.category(character) in {"Cc", "Cs"} for character in cell if character not in "\r\n\t"):
            raise LineFault("malformed-text", column.name, "expected text, got control characters", "take them out")
        if len(cell) > _MOST_TEXT:
            raise LineFault("malformed-text", column.name, f"expected {column.holds}, got {len(cell)} characters")
        if column.day and cell > today:
            raise _misfit(column.name, column.holds, cell)


def records_of(what: Sort, line: Cells, now_ms: int, unit: str | None = None) -> tuple[Record, ...]:
    """The records that a line becomes. ``unit``: the ball that a shipment's number means. Raises LineFault."""
    if what == "balls":
        return (_convert(BallImported, _ball(line, now_ms), what, line),)
    if what == "shipments":
        return (_convert(ShipmentImported, _shipment(line, unit), what, line),)
    opened = _convert(ClaimOpened, _claim(line), what, line)
    decided = _decision(line)
    return (opened,) if decided is None else (opened, _convert(ClaimDecided, decided, what, line))


def fault_of(error: LedgerError, what: Sort) -> LineFault:
    """What the line found wrong with a record, in the terms of the file."""
    where = re.sub(r"^records\[\d+\]\.?", "", error.where)
    column = _COLUMN_OF.get(where, where)
    known = {one.name for one in COLUMNS[what]} | {"at"}
    said = error.problem
    if error.expected is not None:
        said += f": expected {error.expected}" + ("" if error.got is None else f", got {error.got}")
    elif error.got is not None:
        said += f": got {error.got}"
    if isinstance(error, MalformedSerial):
        # It says which character of the number it is about.
        column, said = "serial", f"{said} ({where})" if where else said
    if column == "at":
        column = {"balls": "made_on", "shipments": "shipped_on", "claims": "opened_on"}[what]
    return LineFault(error.code, column if column in known else "", _in_short(said), error.mend or "correct the line")


def _in_short(said: str) -> str:
    """At most 240 bytes of it, whole characters."""
    return said.encode()[:240].decode(errors="ignore")


def unit_of_line(file: str, line: int) -> str:
    """The id of a ball that the file gives none."""
    return f"IMP-{file[:12].upper()}-{line}"


def _ball(line: Cells, now_ms: int) -> dict[str, Any]:
    cells = line.cells
    body = _taken(cells, "serial", "model", "weight_class", "grade", "made_on", "note")
    body |= {"at": format_instant(Instant(now_ms, 0)), "imported": _source(line)}
    body["unit"] = cells.get("unit") or unit_of_line(line.file, line.line)
    if "colours" in cells:
        body["colours"] = [colour.strip() for colour in cells["colours"].split("/")]
    return body


def _shipment(line: Cells, unit: str | None) -> dict[str, Any]:
    body = _taken(line.cells, "shipment", "to", "consignee", "purpose", "note")
    return body | {"at": _midnight(line.cells["shipped_on"]), "unit": unit, "imported": _source(line)}


def _claim(line: Cells) -> dict[str, Any]:
    names = ("claim", "mode", "serial", "unit", "bought_on", "proof", "stored", "claimant", "contact", "via", "market")
    body = _taken(line.cells, *names, "keep_until", "note")
    drilled = {field.partition(".")[2]: line.cells[name] for name, field in _FIELDS.items() if name in line.cells}
    body |= {"at": _midnight(line.cells["opened_on"]), "imported": _source(line)}
    return body | ({"drilled": drilled} if drilled else {})


def _decision(line: Cells) -> dict[str, Any] | None:
    """The decision of an old claim; it needs its day and reason."""
    given = [name for name in ("decision", "reason", "decided_on") if name in line.cells]
    if not given:
        return None
    for name in ("decision", "reason", "decided_on"):
        if name not in line.cells:
            said = f"expected decision, reason and decided_on together, got {' and '.join(given)}"
            raise LineFault("missing-value", name, said, "fill it in, or leave out the others")
    if line.cells["decision"] not in {"accept", "reject", "goodwill"}:
        raise _misfit("decision", "accept, reject or goodwill", line.cells["decision"])
    if line.cells["decision"] == "goodwill" and "note" not in line.cells:
        raise LineFault("missing-value", "note", "expected who granted goodwill, got nothing", "say it in the note")
    body = _taken(line.cells, "claim", "decision", "reason")
    note = {"note": line.cells["note"]} if "note" in line.cells else {}
    return body | note | {"at": _midnight(line.cells["decided_on"])}


def _taken(cells: Mapping[str, str], *names: str) -> dict[str, Any]:
    return {name: cells[name] for name in names if name in cells}


def _source(line: Cells) -> dict[str, Any]:
    return {"file": line.file, "line": line.line}


def _midnight(day: str) -> str:
    return f"{day}T00:00:00.000+00:00"


def _convert(kind: type[Record], body: dict[str, Any], what: Sort, line: Cells) -> Any:
    try:
        return msgspec.convert(body, kind, strict=False)
    except msgspec.ValidationError as error:
        found = _AT.search(str(error))
        path = "" if found is None else re.sub(r"\[[^\]]*\]", "", found["path"])
        name = {"at": {"shipments": "shipped_on", "claims": "opened_on"}.get(what, "made_on")}.get(path, path)
        name = _COLUMN_OF.get(name, name)
        column = next((one for one in COLUMNS[what] if one.name == name), None)
        if column is None:
            message = f"unreachable: a line cannot become a {kind.__name__}: {error}"
            raise MalformedRecord(message) from error
        raise _misfit(column.name, column.holds, line.cells.get(column.name, "")) from error


def _misfit(column: str, holds: str, cell: str) -> LineFault:
    got = cell if len(cell) <= 40 else cell[:37] + "..."
    return LineFault("malformed-value", column, f"expected {holds}, got {got}", "correct the cell")
