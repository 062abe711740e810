"""Selections take in exactly the balls that they describe, in the order of their ids."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.instant import instant_ms
from ledger.line.rows import Descent, Lot, Unit
from ledger.store.engine import Store, open_store
from ledger.store.reader import open_reader
from ledger.store.selections import Selection, StoredEdges, count_by, every_row, gauge_uses, rows_with, select_balls
from tests.plant import AT, line_start, new_writer, opening, registration, said
from tests.stores import fresh_file

BALLS = 12


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A book with twelve balls of SL-1; number 3 is scrapped, number 12 was never measured."""
    folder: Path = tmp_path_factory.mktemp("selections")
    opened = open_store(fresh_file(folder))
    writer = new_writer(opened)
    writer.start()
    submissions = [opening(), *line_start(), *(registration(number) for number in range(1, BALLS))]
    submissions.append(said("last", unmeasured()))
    submissions.append(
        said("scrap", {"kind": "scrap", "at": AT, "unit": "U-000003", "how": "scrap", "reason": "chipped"})
    )
    for submission in submissions:
        writer.submit(submission, "a-lead").result(30)
    writer.stop()
    yield opened
    opened.close()


def unmeasured() -> dict[str, object]:
    """A ball that was engraved a minute later, and not measured."""
    return {
        "kind": "ball-engraved", "at": "2026-03-02T08:01:00.000+00:00", "unit": "U-000012", "lot": "SL-1",
        "serial": "P000012", "weight_class": 14, "station": "E1", "scheme": "prior",
    }  # fmt: skip


def chosen(store: Store, **conditions: object) -> list[str]:
    """The units of a selection."""
    with store.reading() as transaction:
        return [one.unit.unit for one in select_balls(transaction, Selection(**conditions))]  # type: ignore[arg-type]  # as given


def test_without_conditions_every_ball_is_chosen(store: Store) -> None:
    """An empty selection is the whole plant, in unit order."""
    assert [f"U-{number:06d}" for number in range(1, BALLS + 1)] == chosen(store)


def test_a_ball_comes_with_its_lot_and_readings(store: Store) -> None:
    """Each ball has its lot's row and, where it was measured, its readings."""
    with store.reading() as transaction:
        found = select_balls(transaction, Selection())
    assert {"SL-1"} == {one.lot.lot for one in found}
    measured = [one.measured for one in found if one.measured is not None]
    assert (["U-000012"], {15_050_000}) == (
        [one.unit.unit for one in found if one.measured is None],
        {row.mass for row in measured},
    )
    assert [row.unit for row in measured] == [one.unit.unit for one in found if one.measured is not None]


@pytest.mark.parametrize(
    ("conditions", "numbers"),
    [
        ({"model": "M1"}, range(1, 13)),
        ({"model": "M2"}, ()),
        ({"lot": "SL-1"}, range(1, 13)),
        ({"lot": "BL-1"}, ()),
        ({"unit": "U-000005"}, (5,)),
        ({"serial": "P000007"}, (7,)),
        ({"state": "scrapped"}, (3,)),
        ({"state": "engraved", "after": "U-000009"}, (10, 11, 12)),
        ({"limit": 2}, (1, 2)),
        ({"after": "U-000003", "limit": 2}, (4, 5)),
        ({"from_ms": instant_ms(AT) + 60_000}, (12,)),
        ({"from_ms": instant_ms(AT) + 60_001}, ()),
        ({"to_ms": instant_ms(AT)}, range(1, 12)),
        ({"to_ms": instant_ms(AT) - 1}, ()),
        ({"lot": "SL-1", "state": "scrapped", "serial": "P000004"}, ()),
    ],
)
def test_every_condition_must_hold(store: Store, conditions: dict[str, object], numbers: range) -> None:
    """Each condition that is given narrows the choice; instants take in both ends."""
    assert [f"U-{number:06d}" for number in numbers] == chosen(store, **conditions)


@given(size=st.integers(1, 13))
def test_pages_make_up_the_whole(store: Store, size: int) -> None:
    """Page by page, each beginning after the last ball of the one before, every ball is met once."""
    met: list[str] = []
    while page := chosen(store, limit=size, after=met[-1] if met else None):
        assert len(page) <= size
        met += page
    assert chosen(store) == met


def test_values_are_values_and_never_statements(store: Store) -> None:
    """Text that would mean something in a statement is looked for as it is."""
    assert [] == chosen(store, serial="P000001' OR '1' = '1")


def test_rows_are_found_by_many_values(store: Store) -> None:
    """All rows whose column has one of the values come, each once, and none for values that nobody has."""
    with open_reader(store) as reader:
        found = rows_with(reader, Unit, "unit", ["U-000001", "U-000002", "U-000001", "U-NONE"])
        assert ["U-000001", "U-000002"] == sorted(row.unit for row in found)
        assert [] == rows_with(reader, Unit, "unit", [])


def test_rows_are_read_and_counted(store: Store) -> None:
    """Every row that meets a condition comes in key order; counts go by value."""
    with store.reading() as transaction:
        lots = [row.lot for row in every_row(transaction, Lot)]
        pieces = [row.lot for row in every_row(transaction, Lot, '"stage" IN (?, ?)', ("block", "core"))]
        assert (["BL-1", "BT-1", "CL-1", "MT-1", "SL-1"], ["BL-1", "CL-1"]) == (lots, pieces)
        assert {"engraved": 11, "scrapped": 1} == count_by(transaction, Unit, "state")
        assert {"None": 12} == count_by(transaction, Unit, "grade")


def test_edges_are_read_both_ways(store: Store) -> None:
    """What a lot was made from, and what was made from it."""
    with open_reader(store) as reader:
        edges = StoredEdges(reader)
        up: list[Descent] = edges.parents(["CL-1", "SL-1"])
        down: list[Descent] = edges.children(["BT-1"])
    assert {("CL-1", "BL-1"), ("CL-1", "BT-1"), ("SL-1", "CL-1"), ("SL-1", "BT-1")} == {
        (edge.child, edge.parent) for edge in up
    }
    assert {"BL-1", "CL-1", "SL-1"} == {edge.child for edge in down}


def test_the_uses_of_a_gauge_are_found(store: Store) -> None:
    """Every inspection in which the gauge was among those used, in order; none of a gauge whose name only begins so."""
    with open_reader(store) as reader:
        uses = gauge_uses(reader, "G1")
        none = gauge_uses(reader, "G")
    assert [f"{9 + number}.1" for number in range(BALLS - 1)] == uses
    assert [] == none
