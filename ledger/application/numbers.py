"""Numbers as people type and scan them, looked up among those that balls bear or bore."""

from __future__ import annotations

from ledger.errors import MalformedSerial
from ledger.line.rows import SerialRow
from ledger.line.serial import parse_serial
from ledger.store.reader import Reader
from ledger.store.selections import rows_with


def typed_serial(text: str) -> str:
    """A typed or scanned serial as the book has it: own scheme in its plain form, any other number as it is."""
    try:
        return parse_serial(text)
    except MalformedSerial:
        return text.strip()


def serial_rows(reader: Reader, text: str) -> list[SerialRow]:
    """Every bearing of a typed or scanned number, oldest first; a prior number is also found that only looks like ours."""
    rows: list[SerialRow] = rows_with(reader, SerialRow, "serial", {typed_serial(text), text.strip()})
    return sorted(rows, key=lambda row: (row.since_ms, row.until_ms is None, row.unit))
