"""What is worked out from loaded rows is remembered, and forgotten as soon as one of them changes."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from ledger.line.reading_rows import Gauge
from ledger.line.rows import Counter, SerialRow
from ledger.line.state import Need, NotLoaded, State


def serial(row: str, unit: str) -> SerialRow:
    """A number on a unit."""
    return SerialRow(serial_row=row, serial="N1", unit=unit, since_ms=0, until_ms=None, own_scheme=True)


CHANGES: dict[str, Callable[[State], None]] = {
    "put": lambda state: state.put(Counter(counter="own", next=2)),
    "drop": lambda state: state.drop(Counter(counter="own", next=1)),
    "forget": lambda state: state.forget(),
    "undo": lambda state: state.undo_to(0),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_forgets_what_was_worked_out(change: str) -> None:
    """Entering, removing, taking back a row or emptying the overlay empties the memo of its view."""
    state = State()
    state.put(Counter(counter="own", next=1))
    state.memo(Counter)["sum"] = 1
    CHANGES[change](state)
    assert {} == state.memo(Counter)


def test_other_views_and_loading_leave_it_alone() -> None:
    """Rows of another view, and rows that are only loaded, change nothing that followed from loaded rows."""
    state = State()
    state.memo(Counter)["sum"] = 1
    state.load(Need(Counter, "counter", "own"), [Counter(counter="own", next=1)])
    state.put(serial("1.0", "U1"))
    assert {"sum": 1} == state.memo(Counter)


def test_a_put_row_is_found_by_every_column_that_was_asked_by() -> None:
    """A row moves between the buckets of its columns as they change, and back when that is undone."""
    state = State()
    for unit in ("U1", "U2"):
        state.load(Need(SerialRow, "unit", unit), ())
    state.put(serial("1.0", "U1"))
    mark = state.mark()
    state.put(serial("1.0", "U2"))
    assert ([], [serial("1.0", "U2")]) == (
        state.where(SerialRow, "unit", "U1"),
        state.where(SerialRow, "unit", "U2"),
    )
    state.undo_to(mark)
    assert ([serial("1.0", "U1")], []) == (
        state.where(SerialRow, "unit", "U1"),
        state.where(SerialRow, "unit", "U2"),
    )


def test_many_values_are_loaded_as_one_by_one() -> None:
    """``load_all`` gives each value its rows, and an empty bucket where there is none."""
    state = State()
    state.load_all(SerialRow, "unit", ["U1", "U2"], {"U1": [serial("1.0", "U1")]})
    assert ([serial("1.0", "U1")], []) == (
        state.where(SerialRow, "unit", "U1"),
        state.where(SerialRow, "unit", "U2"),
    )


def test_what_was_not_asked_for_cannot_be_read() -> None:
    """A view of which nothing was loaded, and a value that was not asked for, raise; an expected one is empty."""
    state = State()
    with pytest.raises(NotLoaded):
        state.where(Gauge, "gauge", "G1")
    state.expect(Gauge, "gauge", "G1")
    assert ([], None) == (state.where(Gauge, "gauge", "G1"), state.one(Gauge, "G1"))
    with pytest.raises(NotLoaded):
        state.one(Gauge, "G2")
