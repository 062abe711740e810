"""Tracing forward to the owner."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.line.rows import Descent
from ledger.tracing.back import trace_back
from ledger.tracing.forward import trace_forward, unit_certainty
from tests.tracing.lots_made import HeldEdges, edge, plants


def test_lots_below_have_their_certainty() -> None:
    """A lot wholly made of the suspect is certain; one that may hold it is possible; others are not named."""
    edges = HeldEdges(
        edge("C1", "B1"), edge("C2", "B1"), edge("C2", "B2"), edge("S1", "C1", "core"), edge("S2", "C2", "core"),
        edge("S3", "B2", "core"),
    )  # fmt: skip
    found = {one.lot: (one.certainty, one.level) for one in trace_forward(edges, "B1").descendants}
    assert {"C1": ("certain", 1), "C2": ("possible", 1), "S1": ("certain", 2), "S2": ("possible", 2)} == found


def test_the_lot_itself_is_certain() -> None:
    """A lot holds itself, and no lot that it was not made from."""
    forward = trace_forward(HeldEdges(edge("C1", "B1")), "B1")
    assert ("certain", None) == (forward.certainty_of("B1"), forward.certainty_of("B2"))


def test_a_ball_with_a_place_is_surer_than_its_lot() -> None:
    """Where positions were recorded, a ball of a doubtful lot is certain or clear."""
    edges = HeldEdges(edge("S1", "C1", "core", first=1, last=8), edge("S1", "C2", "core", first=9, last=12))
    forward = trace_forward(edges, "C1")
    assert ("possible", "certain", None) == tuple(forward.of_unit("S1", place) for place in (None, 3, 10))


def test_it_asks_twice_a_level() -> None:
    """The walk costs two questions a level, whatever the number of lots, and one to see that nothing follows."""
    edges = HeldEdges(*[edge(f"C{n}", "B1") for n in range(30)], *[edge(f"S{n}", f"C{n}", "core") for n in range(30)])
    assert 60 == len(trace_forward(edges, "B1").descendants)
    assert 5 == edges.questions


def test_a_cycle_of_faulty_records_ends_below_too() -> None:
    """Lots that would descend from one another do not hold up the walk down."""
    forward = trace_forward(HeldEdges(edge("B", "A"), edge("C", "B"), edge("B", "C")), "A")
    assert {"B", "C"} == {one.lot for one in forward.descendants}


@settings(max_examples=200, deadline=None)
@given(plants(), st.integers(0, 5), st.none() | st.integers(1, 3))
def test_forward_and_back_agree(edges: list[Descent], suspect: int, place: int | None) -> None:
    """Looking down from a suspect and up from each lot or ball give one answer."""
    held = HeldEdges(*edges)
    forward = trace_forward(held, f"L{suspect}")
    for number in range(6):
        lot = f"L{number}"
        assert trace_back(held, lot).certainty_of(f"L{suspect}") == forward.certainty_of(lot)
        assert unit_certainty(held, lot, place, f"L{suspect}") == forward.of_unit(lot, place)
