"""Readings by columns where balls differ in how they were read: the same cells as the rows have, on every store."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.line.reading_rows import Measured
from ledger.store import columns
from ledger.store.columns import FURTHER, reading_columns
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import Selection, every_row
from ledger.store.writer import Writer
from tests.plant import AT, registration, said

BALLS = 60


def read_again(number: int, **stated: str) -> dict[str, Any]:
    """A second weighing of a ball, with what is stated of it."""
    expanded = {"expanded": stated.pop("expanded")} if "expanded" in stated else {}
    reading: dict[str, Any] = {"quantity": "mass", "unit": "lb", "gauge": "G1", "values": ["15.1"], **expanded}
    unit = f"U-{number:06d}"
    return {"kind": "inspection", "at": AT, "unit": unit, "station": "E1", "readings": [reading], **stated}


def cells(reader: Reader, chunk: int) -> dict[str, dict[str, Any]]:
    """Every cell by unit and column, None where its column was left out."""
    found: dict[str, dict[str, Any]] = {}
    for one in reading_columns(reader, Selection(), ("mass", "hardness", "diameter"), chunk=chunk):
        for place, unit in enumerate(one.texts["unit"]):
            texts = {name: cells[place] for name, cells in one.texts.items()}
            found[unit] = texts | {name: cells[place] for name, cells in one.numbers.items()}
    return found


def expected(row: Measured) -> dict[str, Any]:
    """The same cells from the row itself."""
    names = ("unit", "lot", "manner", "weight_class", "began_ms", "first_ms", "last_ms", "coldest", "warmest")
    values = (*names, "mass", "hardness", "diameter", "mass_u", "hardness_u", "diameter_u")
    dated = row.began_ms if row.engraved_ms is None else row.engraved_ms
    return {"dated_ms": dated, **{name: getattr(row, name) for name in values}}


@pytest.mark.parametrize(
    "every", [None, 1, 2, 7, 19], ids=["none stated", "all stated", "half stated", "some stated", "few stated"]
)
def test_cells_are_those_of_the_rows(store: Store, writer: Writer, every: int | None) -> None:
    """Whether a U, another manner, or a temperature is usual, seldom or unknown, and whatever the chunk."""
    for number in range(BALLS):
        writer.submit(registration(number), "a-engraver").result(30)
        if every is not None and number % every == 0:
            ways = [{"expanded": "0.02"}, {"surface": f"state-{number}"}, {"temperature_c": "21.5"}]
            stated = {**ways[number % 3]}
            writer.submit(said(f"again-{number}", read_again(number, **stated)), "a-engraver").result(30)
    with open_reader(store) as reader:
        rows = {row.unit: expected(row) for row in every_row(reader.transaction, Measured)}
        for chunk in (1, 4, 10, 25, 100):
            found = cells(reader, chunk)
            assert list(rows) == list(found)
            assert rows == {unit: dict.fromkeys(rows[unit]) | row for unit, row in found.items()}


def test_no_more_is_asked_for_than_was_wanted(store: Store, writer: Writer) -> None:
    """Instants and temperatures come where they are named, a U where one is stated."""
    for number in range(6):
        writer.submit(registration(number), "a-engraver").result(30)
    with open_reader(store) as reader:
        first, *others = reading_columns(reader, Selection(), ("mass",), further=("last_ms",), chunk=2)
        named = {"weight_class", "last_ms", "mass"}
        assert ({*named, "mass_u"}, [named, named]) == ({*first.numbers}, [{*one.numbers} for one in others])
        assert {"began_ms", "dated_ms"} < {*FURTHER}


def test_kinds_beyond_those_that_a_query_names_are_looked_up(
    store: Store, writer: Writer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plant with more manners than one query tells apart loses none of them."""
    monkeypatch.setattr(columns, "_KINDS", 1)
    for number in range(BALLS):
        writer.submit(registration(number), "a-engraver").result(30)
        if number % 10 == 9:
            record = read_again(number, surface=f"state-{number}")
            writer.submit(said(f"again-{number}", record), "a-engraver").result(30)
    with open_reader(store) as reader:
        rows = {row.unit: row.manner for row in every_row(reader.transaction, Measured)}
        assert 7 == len(set(rows.values()))
        assert rows == {unit: row["manner"] for unit, row in cells(reader, 20).items()}
