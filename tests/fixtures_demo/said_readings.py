"""What the entries of the demo book say of readings, counted from their JSON alone: no view, no verdict of the ledger."""

from __future__ import annotations

import datetime as dt
import json
from fractions import Fraction
from typing import Any, NamedTuple

from ledger.store.engine import open_store
from ledger.store.reader import open_reader


class SaidReading(NamedTuple):
    """The newest reading of one quantity of a ball."""

    at: dt.datetime
    gauge: str
    value: Fraction


class SaidBook(NamedTuple):
    """Newest readings by quantity and unit; units away; the grade of the newest release; units scrapped."""

    readings: dict[str, dict[str, SaidReading]]
    away: set[str]
    grades: dict[str, str]
    ended: set[str]


def read_said(file: str) -> SaidBook:
    """Go through every entry of a store's file, in order."""
    book = SaidBook({}, set(), {}, set())
    store = open_store(f"sqlite:///{file}")
    try:
        with open_reader(store) as reader:
            for entry in reader.entries(0, 100_000):
                for record in json.loads(entry.bytes)["said"]["records"]:
                    _take(book, record)
    finally:
        store.close()
    return book


def _take(book: SaidBook, record: dict[str, Any]) -> None:
    kind = record["kind"]
    if kind == "inspection":
        at = dt.datetime.fromisoformat(record["at"])
        for reading in record["readings"]:
            known = book.readings.setdefault(reading["quantity"], {}).get(record["unit"])
            if known is None or at >= known.at:
                book.readings[reading["quantity"]][record["unit"]] = SaidReading(at, reading["gauge"], _figure(reading))
    elif kind == "shipment":
        book.away.update(record["units"])
    elif kind == "release":
        book.grades[record["unit"]] = record["grade"]
    elif kind == "scrap":
        book.ended.add(record["unit"])


def _figure(reading: dict[str, Any]) -> Fraction:
    values = sorted(map(Fraction, reading["values"]))
    return sum(values, Fraction(0)) / len(values) if reading.get("statistic") == "mean" else values[len(values) // 2]


def soft_units(book: SaidBook) -> set[str]:
    """The balls whose hardness reads 72 or more and less than 73."""
    return {unit for unit, reading in book.readings["hardness"].items() if 72 <= reading.value < 73}


def resting_on(book: SaidBook, quantity: str, gauge: str, began: dt.datetime, ended: dt.datetime) -> set[str]:
    """The balls whose newest reading of a quantity was taken with a gauge in a time, its end left out."""
    return {
        unit
        for unit, reading in book.readings[quantity].items()
        if reading.gauge == gauge and began <= reading.at < ended
    }
