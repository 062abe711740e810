"""Readings by columns where balls differ in how they were read: the same cells as the rows have, on every store."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ledger.line.reading_rows import Measured
from ledger.store import manner_texts
from ledger.store.columns import FURTHER, ReadingColumns, reading_columns
from ledger.store.engine import Store
from ledger.store.packed_numbers import EMPTY
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


def cells(chunks: list[ReadingColumns]) -> dict[str, dict[str, Any]]:
    """Every cell by unit and column, None where it is empty."""
    found: dict[str, dict[str, Any]] = {}
    for one in chunks:
        manners = [one.manners[place] for place in one.manner.tolist()]
        numbers = {name: column.tolist() for name, column in one.numbers.items()}
        for place, unit in enumerate(one.units):
            row = {name: None if column[place] == EMPTY else column[place] for name, column in numbers.items()}
            found[unit] = {"unit": unit, "lot": one.lots[place], "manner": manners[place], **row}
    return found


def every_cell(reader: Reader, chunk: int) -> dict[str, dict[str, Any]]:
    """The cells of three quantities, of which nothing was ever read of one."""
    return cells(list(reading_columns(reader, Selection(), ("mass", "hardness", "diameter"), chunk=chunk)))


def expected(row: Measured) -> dict[str, Any]:
    """The same cells from the row itself."""
    names = ("unit", "lot", "manner", "weight_class", "began_ms", "first_ms", "last_ms", "coldest", "warmest")
    values = (*names, "mass", "hardness", "diameter", "mass_u", "hardness_u", "diameter_u")
    dated = row.began_ms if row.engraved_ms is None else row.engraved_ms
    return {"dated_ms": dated, **{name: getattr(row, name) for name in values}}


@pytest.fixture
def various(writer: Writer, every: int | None) -> None:
    """Sixty balls, of which one in so many was read again in another way; one was begun and read, and not engraved."""
    for number in range(BALLS):
        writer.submit(registration(number), "a-engraver").result(30)
        if every is not None and number % every == 0:
            ways = [{"expanded": "0.02"}, {"surface": f"state-{number}"}, {"temperature_c": "21.5"}]
            writer.submit(said(f"again-{number}", read_again(number, **ways[number % 3])), "a-engraver").result(30)
    begun = {"kind": "unit-started", "at": AT, "unit": "U-000099", "lot": "SL-1", "station": "T-1"}
    writer.submit(said("begun", begun, read_again(99)), "a-engraver").result(30)


@pytest.mark.parametrize(
    "every", [None, 1, 2, 7, 19], ids=["none stated", "all stated", "half stated", "some stated", "few stated"]
)
@pytest.mark.usefixtures("various")
def test_cells_are_those_of_the_rows(store: Store) -> None:
    """Whether a U, another manner, or a temperature is usual, seldom or unknown, and whatever the chunk."""
    with open_reader(store) as reader:
        rows = {row.unit: expected(row) for row in every_row(reader.transaction, Measured)}
        for chunk in (1, 4, 10, 25, 100):
            found = every_cell(reader, chunk)
            assert list(rows) == list(found)
            assert rows == {unit: dict.fromkeys(rows[unit]) | row for unit, row in found.items()}


def test_no_more_is_asked_for_than_was_wanted(store: Store, writer: Writer) -> None:
    """Instants and temperatures come where they are named, a U where one is stated."""
    for number in range(6):
        writer.submit(registration(number), "a-engraver").result(30)
    with open_reader(store) as reader:
        for further in (("last_ms",), ("dated_ms",), ("began_ms", "dated_ms")):
            read = reading_columns(reader, Selection(), ("mass",), further=further, chunk=2)
            assert [{"weight_class", "mass", *further}] * 3 == [{*one.numbers} for one in read]
        assert {"began_ms", "dated_ms"} < {*FURTHER}


@pytest.mark.parametrize("every", [7])
@pytest.mark.usefixtures("various")
def test_manners_beyond_those_that_are_kept_in_mind_are_looked_up(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plant with more manners than are remembered loses none of them."""
    monkeypatch.setattr(manner_texts, "KEPT", 1)
    with open_reader(store) as reader:
        rows = {row.unit: row.manner for row in every_row(reader.transaction, Measured)}
        assert 4 == len(set(rows.values()))
        for chunk in (3, 20):
            assert rows == {unit: row["manner"] for unit, row in every_cell(reader, chunk).items()}


@pytest.mark.parametrize("every", [7])
@pytest.mark.usefixtures("various")
def test_a_part_of_a_chunk_has_the_cells_of_its_balls(store: Store) -> None:
    """What is told of a manner reaches the balls read in it, and those alone."""
    with open_reader(store) as reader:
        [whole] = reading_columns(reader, Selection(), ("mass",), chunk=100)
    stated = whole.of_manner(("state" in text for text in whole.manners), np.bool_)
    part = whole.subset(stated)
    assert part.balls == sum("state" in row["manner"] for row in cells([whole]).values()) > 0
    assert cells([part]) == {unit: row for unit, row in cells([whole]).items() if "state" in row["manner"]}
    assert whole is whole.subset(np.ones(whole.balls, dtype=bool))
