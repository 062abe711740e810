"""Records of imports on the line: balls of before, their lots, shipments, and the lines of a file."""

from __future__ import annotations

from collections import Counter
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import MalformedSerial
from ledger.line.import_rows import ImportedStretch, ImportedUnit
from ledger.line.imports import LOT_LINES, BallImported, imported_lot
from ledger.line.record import Record
from ledger.line.rows import Lot, SerialRow, Shipped, Unit
from ledger.line.serial import ALPHABET, check_character
from ledger.line.vocabulary import RECORD_OF
from tests.line.plant import Plant

AT = "2026-03-02T08:00:00.000+00:00"
FILE = "ab" * 32


def record(kind: str, **fields: Any) -> Record:
    """A record of plain JSON fields."""
    return msgspec.convert({"kind": kind, "at": AT, **fields}, RECORD_OF[kind])


def ball(line: int, **fields: Any) -> Record:
    """A ball of before, by its line."""
    source = {"file": FILE, "line": line}
    return record("ball-imported", unit=f"OLD-{line}", made_on="2001-05-06", imported=source, **fields)


def left(shipment: str, line: int, **fields: Any) -> Record:
    """A ball of before that left."""
    said = {"shipment": shipment, "unit": f"OLD-{line}", "imported": {"file": FILE, "line": line}}
    return record(
        "shipment-imported", **{"at": "2002-01-01T00:00:00.000+00:00", "consignee": "A shop", **said, **fields}
    )


@pytest.fixture
def plant() -> Plant:
    """A book with nothing in it."""
    return Plant()


def test_a_ball_of_before_has_a_lot_of_its_file(plant: Plant) -> None:
    """The first ball makes the lot, which counts each as made and used, and spans the days of making."""
    plant.submit(ball(2, serial="S1"), ball(3, serial="S1", colours=["blue", "red"]))
    unit, lot = plant.row(Unit, "OLD-3"), plant.row(Lot, plant.row(Unit, "OLD-2").lot)

    assert ("imported", "S1", None) == (unit.state, unit.serial, unit.release)
    assert ("imported", None, 2, 2, False) == (lot.stage, lot.model, lot.made, lot.used, lot.closed)
    assert (FILE, 3, "blue,red") == msgspec.structs.astuple(plant.row(ImportedUnit, "OLD-3"))[1:4]
    assert 2 == len(plant.tables.where(SerialRow, "serial", "S1"))


def test_lots_are_of_a_model_and_a_thousand_lines() -> None:
    """Another model, another file and another thousand lines make another lot, whose id is one."""
    names = {
        imported_lot(msgspec.convert(msgspec.to_builtins(one), BallImported))
        for one in (ball(2), ball(3), ball(2, model="M1"), ball(LOT_LINES))
    }
    assert 3 == len(names)
    assert all(len(name) <= 40 for name in names)


def test_what_a_ball_of_before_may_not_be(plant: Plant) -> None:
    """A unit of the book, a model that it does not know, a day to come, a number of no label, and a day that is none."""
    plant.submit(ball(2))
    for wrong, where in ((ball(2), "unit"), (ball(3, model="M9"), "model")):
        assert where == plant.refused(wrong).where.rpartition(".")[2]
    with pytest.raises(MalformedSerial):
        plant.submit(ball(3, serial="A B"))
    for on in ("2026-03-03", "2001-02-30"):
        wrong = msgspec.structs.replace(ball(3), made_on=on)
        assert plant.refused(wrong).where.endswith("made_on")


def test_a_number_that_this_book_allotted_was_on_no_ball_of_before(plant: Plant) -> None:
    """It was not there yet."""
    serial = "2345678" + next(one + check for one in "9ACD" if (check := check_character(f"2345678{one}")) in ALPHABET)
    plant.submit(record("serials-allotted", station="E-1", first=0, serials=[serial]))
    assert "contradiction" == plant.refused(ball(2, serial=serial)).code


def test_lines_make_one_shipment_and_a_return_ends_it(plant: Plant) -> None:
    """Two lines with the same day, purpose and consignee are one shipment; what came back is returned."""
    plant.submit(ball(2), ball(3), ball(4))
    plant.submit(left("SH-1", 2), left("SH-1", 3))

    assert ["OLD-2", "OLD-3"] == sorted(row.unit for row in plant.tables.where(Shipped, "shipment", "SH-1"))
    assert "contradiction" == plant.refused(left("SH-1", 4, purpose="sample")).code
    assert "contradiction" == plant.refused(left("SH-1", 2)).code
    assert "rule-stands" == plant.refused(left("SH-2", 4, at="2000-01-01T00:00:00.000+00:00")).code
    assert "malformed-record" == plant.refused(left("SH-2", 4, to="SHOP-1")).code
    assert [] == plant.submit(record("returned", unit="OLD-2", reason="claimed")).codes
    assert [] == plant.submit(record("returned", unit="OLD-4", reason="claimed")).codes
    assert "returned" == plant.row(Unit, "OLD-4").state


def test_a_stretch_says_every_line_and_is_entered_once(plant: Plant) -> None:
    """Lines that are neither accepted nor refused are missed; the same lines again are refused."""
    head = record(
        "lines-imported", file=FILE, what="balls", first=1, last=2, accepted=1, refused=[{"line": 3, "code": "x"}]
    )
    short = record("lines-imported", file=FILE, what="balls", first=1, last=3, accepted=1)
    assert "contradiction" == plant.refused(short, ball(2)).code
    plant.submit(head, ball(2))
    assert (1, 1) == msgspec.structs.astuple(plant.tables.where(ImportedStretch, "file", FILE)[0])[5:7]
    assert "contradiction" == plant.refused(head, ball(4)).code


@given(
    st.lists(
        st.tuples(st.integers(2, 2_500), st.sampled_from(["", "S1", "S2"])), max_size=8, unique_by=lambda one: one[0]
    ),
    st.data(),
)
def test_imports_fold_the_same_whichever_way(balls: list[tuple[int, str]], data: st.DataObject) -> None:
    """Live rows, a rebuild and every node folded anew agree, with balls shipped and withdrawn in between; so does a count."""
    plant = Plant()
    addresses = {
        line: plant.submit(ball(line, **({"serial": serial} if serial else {}))).address for line, serial in balls
    }
    lines = sorted(addresses)
    for line in data.draw(st.lists(st.sampled_from(lines), unique=True)) if lines else []:
        plant.submit(left(f"SH-{line % 2}", line))
    gone = data.draw(st.lists(st.sampled_from(lines), unique=True)) if lines else []
    for line in gone:
        if plant.row(Unit, f"OLD-{line}").away is None:
            plant.submit(record("correction", reason="typing", changes=[{"fact": addresses.pop(line)}]))

    assert plant.tables.listed() == plant.rebuilt().listed() == plant.refolded().listed()
    counted = Counter(line // LOT_LINES for line in addresses)
    assert sorted(counted.values()) == sorted(row.made for row in plant.tables.rows[Lot].values())  # type: ignore[attr-defined]  # lots
    assert {f"OLD-{line}" for line in addresses} == {key[0] for key in plant.tables.rows[Unit]}
