"""Readings by columns, on every store: each ball once, whatever the chunk; what was not read is empty."""

from __future__ import annotations

from ledger.line.reading_rows import Measured
from ledger.store.columns import own_finishes, reading_columns, unmeasured_units
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.selections import Selection, every_row, select_units
from ledger.store.writer import Writer
from tests.plant import AT, registration, said


def test_chunks_give_every_measured_ball_once(store: Store, writer: Writer) -> None:
    """In unit order, with the values of its row."""
    for number in range(7):
        writer.submit(registration(number), "a-engraver").result(30)
    with open_reader(store) as reader:
        rows = every_row(reader.transaction, Measured)
        for chunk in (1, 3, 7, 50):
            read = list(reading_columns(reader, Selection(), ("mass", "hardness"), chunk=chunk))
            assert [row.unit for row in rows] == [unit for one in read for unit in one.units]
            assert [row.mass for row in rows] == [value for one in read for value in one.numbers["mass"].tolist()]
            assert {None} == {row.hardness for row in rows}
            assert not any("hardness" in one.numbers for one in read)


def test_a_ball_that_was_never_measured_is_found_apart(store: Store, writer: Writer) -> None:
    """Engraved without a reading, it has no row of readings, and counts all the same."""
    writer.submit(registration(1), "a-engraver").result(30)
    alone = {"kind": "unit-started", "at": AT, "unit": "U-ALONE", "lot": "SL-1", "station": "T-1"}
    writer.submit(said("alone", alone), "a-engraver").result(30)
    with open_reader(store) as reader:
        assert ["U-ALONE"] == unmeasured_units(reader, Selection())
        assert [] == unmeasured_units(reader, Selection(state="released"))
        found = select_units(reader.transaction, ["U-ALONE", "U-000001", "U-NONE"])
    assert ["U-000001", "U-ALONE"] == [one.unit.unit for one in found]


def test_finishes_of_their_own_are_found_by_ball(store: Store, writer: Writer) -> None:
    """Of the balls asked for, those that were finished apart from their lot, and how last."""
    for number in range(3):
        writer.submit(registration(number), "a-engraver").result(30)
    for number, step in enumerate(("sanded", "polished", "cg-marked")):
        worked = {"kind": "unit-worked", "at": AT, "unit": f"U-00000{number}", "step": step, "station": "P-1"}
        writer.submit(said(f"worked-{number}", worked), "a-engraver").result(30)
    with open_reader(store) as reader:
        assert {"U-000000": "sanded", "U-000001": "polished"} == own_finishes(
            reader, ["U-000000", "U-000001", "U-000002", "U-NONE"]
        )
        assert {"U-000001": "polished"} == own_finishes(reader, ["U-000001"])
        assert {} == own_finishes(reader, [])
