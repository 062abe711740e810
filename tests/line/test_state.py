"""The overlay: what was asked for, what changed, and what a refusal takes back."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from ledger.line.rows import About, Hold, Lot, Row
from ledger.line.state import Need, NotLoaded, State

NODES = ("lot:A", "lot:B", "lot:C")


def hold(name: str, node: str = "lot:A", *, still_open: bool = True) -> Hold:
    """A hold's row."""
    return Hold(
        hold=name,
        node=node,
        rule=None,
        stops="use",
        reason="void",
        recall=False,
        open=still_open,
        opened_ms=0,
        lifted_by="",
        opened="0.0",
        lifted=None if still_open else "1.0",
    )


def test_reading_what_was_not_asked_for_is_a_fault() -> None:
    """Of the kind, never of the input."""
    state = State()
    with pytest.raises(NotLoaded):
        state.one(Hold, "H-1")
    with pytest.raises(NotLoaded):
        state.where(Hold, "node", "lot:A")
    state.load(Need(Hold, "hold", "H-1"), [])
    assert state.one(Hold, "H-1") is None


def test_a_row_is_found_by_every_column_that_is_asked_by() -> None:
    """And moves when the column changes."""
    state = State()
    for node in NODES:
        state.load(Need(Hold, "node", node), [])
    state.put(hold("H-1"))
    state.put(hold("H-1", "lot:B"))
    assert [[], ["H-1"]] == [[row.hold for row in state.where(Hold, "node", node)] for node in NODES[:2]]


def test_amounts_are_added_to_rows_that_are_there() -> None:
    """Nothing happens to a row whose making was withdrawn."""
    state = State()
    state.alter(Hold, "H-1", open=False)
    state.add(Lot, "SL-1", used=1)
    assert ([], {}) == (state.all_of(Hold), state.take_changes())


def test_changes_are_taken_once() -> None:
    """Rows to store and keys to delete."""
    state = State()
    state.put(hold("H-1"))
    state.put(hold("H-2"))
    state.drop(hold("H-2"))
    assert {Hold: ([hold("H-1")], [("H-2",)])} == state.take_changes()
    assert ({}, 1) == (state.take_changes(), state.size())
    state.forget()
    assert 0 == state.size()


def test_what_only_a_correction_reads_is_not_held_once_it_is_stored() -> None:
    """Unless the view was asked by: then what was loaded and what was put stay together."""
    about = About(node="lot:A", address="1.0", index=1, position=0)
    state = State()
    state.put(about)
    assert ({About: ([about], [])}, 0) == (state.take_changes(), state.size())
    state.load(Need(About, "address", "1.0"), [])
    state.put(about)
    assert ({About: ([about], [])}, [about]) == (state.take_changes(), state.where(About, "address", "1.0"))


def test_a_stored_row_does_not_undo_a_change() -> None:
    """What the overlay changed or dropped stays so when its bucket is loaded later."""
    state = State()
    state.put(hold("H-1", "lot:B"))
    state.drop(hold("H-2"))
    state.load(Need(Hold, "node", "lot:A"), [hold("H-1"), hold("H-2"), hold("H-3")])
    state.load(Need(Hold, "node", "lot:B"), [])
    assert [["H-3"], ["H-1"]] == [[row.hold for row in state.where(Hold, "node", node)] for node in NODES[:2]]


class Overlay(RuleBasedStateMachine):
    """The overlay beside a plain dict, through puts, drops, marks, undone stretches, takings and late loads."""

    def __init__(self) -> None:
        super().__init__()
        self.state = State()
        self.stored: dict[str, Hold] = {}
        self.now: dict[str, Hold] = {}
        self.marks: list[tuple[int, dict[str, Hold]]] = []

    @rule(name=st.sampled_from("PQR"), node=st.sampled_from(NODES), still_open=st.booleans())
    def put(self, name: str, node: str, still_open: bool) -> None:  # noqa: FBT001  # Hypothesis gives it by name
        """Enter or replace a row."""
        self.state.put(hold(name, node, still_open=still_open))
        self.now[name] = hold(name, node, still_open=still_open)

    @rule(name=st.sampled_from("PQR"))
    def drop(self, name: str) -> None:
        """Remove a row."""
        self.state.drop(hold(name))
        self.now.pop(name, None)

    @rule()
    def mark(self) -> None:
        """Remember a point."""
        self.marks.append((self.state.mark(), dict(self.now)))

    @rule()
    def undo(self) -> None:
        """Return to the last point."""
        if self.marks:
            mark, self.now = self.marks.pop()
            self.state.undo_to(mark)

    @rule()
    def take(self) -> None:
        """Store the changes."""
        for row, (rows, gone) in self.state.take_changes().items():
            assert row is Hold
            for (name,) in gone:
                self.stored.pop(name, None)
            self.stored.update({one.hold: one for one in rows if isinstance(one, Hold)})
        self.marks.clear()
        assert self.now == self.stored

    @rule()
    def forget(self) -> None:
        """Drop what is loaded; what was not stored is lost."""
        self.state.forget()
        self.now = dict(self.stored)
        self.marks.clear()

    @invariant()
    def same(self) -> None:
        """Every bucket holds what the dict has."""
        for node in NODES:
            need = Need(Hold, "node", node)
            if not self.state.has(need):
                self.state.load(need, [row for row in self.stored.values() if row.node == node])
            found: list[Row] = [
                row for _, row in sorted((row.hold, row) for row in self.state.where(Hold, "node", node))
            ]
            assert [self.now[name] for name in sorted(self.now) if self.now[name].node == node] == found


TestOverlay: Any = Overlay.TestCase


def test_a_row_that_is_entered_is_found_as_one_that_was_put() -> None:
    """By its key, by the columns named and by those that were asked by before; and a later one takes its place."""
    put, entered = State(), State()
    asked = [(column, value) for column in ("node", "opened") for value in ("lot:A", "lot:B", "0.0", "2.0")]
    for state in (put, entered):
        for column, value in asked:
            state.expect(Hold, column, value)
    rows = [hold("H-1"), hold("H-2"), msgspec.structs.replace(hold("H-1", "lot:B"), opened="2.0")]
    for row in rows:
        put.put(row)
        entered.enter(row, ("node",))
        for column, value in asked:
            assert put.where(Hold, column, value) == entered.where(Hold, column, value)
    assert put.all_of(Hold) == entered.all_of(Hold) == [rows[2], rows[1]]
    held = State()
    held.hold(rows[0])
    assert rows[0] == held.held(Hold, "H-1")
