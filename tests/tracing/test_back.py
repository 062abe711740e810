"""Tracing back to the drum."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.line.rows import Descent
from ledger.tracing.back import trace_back
from tests.tracing.lots_made import HeldEdges, edge, plants, worlds


def test_a_single_parent_is_certain() -> None:
    """What a lot was wholly made from is certain, and so is all above it."""
    trace = trace_back(HeldEdges(edge("S1", "C1", "core"), edge("C1", "B1")), "S1")
    assert {"C1", "B1"} == trace.certain
    assert ["C1", "B1"] == [one.lot for one in trace.ancestors]
    assert [1, 2] == [one.level for one in trace.ancestors]


def test_two_parents_of_one_part_are_possible() -> None:
    """A shell lot with two possible core lots has neither for certain."""
    trace = trace_back(HeldEdges(edge("S1", "C1", "core"), edge("S1", "C2", "core")), "S1")
    assert (set(), {"C1", "C2"}) == (set(trace.certain), set(trace.possible))


def test_what_all_alternatives_share_is_certain() -> None:
    """Whichever core it took, the ball holds the batch of both."""
    edges = HeldEdges(
        edge("S1", "C1", "core"), edge("S1", "C2", "core"), edge("C1", "X", "compound"), edge("C2", "X", "compound")
    )
    trace = trace_back(edges, "S1")
    assert {"X"} == trace.certain
    assert 2 == len(trace.ancestors[-1].drawn)


def test_an_alternative_that_is_also_above_the_other_is_certain() -> None:
    """A lot that is drawn from directly or through its heir is held in any case."""
    trace = trace_back(HeldEdges(edge("S1", "C1", "core"), edge("S1", "C2", "core"), edge("C2", "C1", "split")), "S1")
    assert ({"C1"}, {"C2"}) == (set(trace.certain), set(trace.possible))


def test_blended_parents_are_all_certain() -> None:
    """Every piece of a mixed batch holds each of its materials."""
    edges = HeldEdges(edge("B1", "M1", "m", blended=True), edge("B1", "M2", "m", blended=True))
    assert {"M1", "M2"} == trace_back(edges, "B1").certain


def test_a_split_is_certain_and_a_merge_is_not() -> None:
    """The heir of one lot descends from it; of two merged lots, from one or the other."""
    split = trace_back(HeldEdges(edge("C1A", "C1", "split")), "C1A")
    merged = trace_back(HeldEdges(edge("C3", "C1", "merge"), edge("C3", "C2", "merge")), "C3")
    assert ({"C1"}, {"C1", "C2"}) == (set(split.certain), set(merged.possible))


def test_a_recorded_position_leaves_one_parent() -> None:
    """Where positions were recorded, a ball's place tells its core lot, and the other is no ancestor at all."""
    edges = HeldEdges(edge("S1", "C1", "core", first=1, last=8), edge("S1", "C2", "core", first=9, last=12))
    assert {"C2"} == trace_back(edges, "S1", 9).certain
    assert {"C1"} == trace_back(edges, "S1", 8).certain
    assert None is trace_back(edges, "S1", 9).certainty_of("C1")
    assert {"C1", "C2"} == trace_back(edges, "S1").possible


def test_a_position_outside_every_range_tells_nothing() -> None:
    """A place that no recorded range covers leaves all parents possible."""
    edges = HeldEdges(edge("S1", "C1", "core", first=1, last=8), edge("S1", "C2", "core", first=9, last=12))
    assert {"C1", "C2"} == trace_back(edges, "S1", 13).possible


def test_a_level_is_asked_for_once() -> None:
    """A walk over three levels asks four times, however many lots they hold."""
    wide = [edge("S1", f"C{n}", "core") for n in range(20)] + [edge(f"C{n}", f"B{n}") for n in range(20)]
    edges = HeldEdges(*wide)
    assert 40 == len(trace_back(edges, "S1").ancestors)
    assert 3 == edges.questions


def test_a_cycle_of_faulty_records_ends() -> None:
    """Lots that would descend from one another do not hold up the walk."""
    edges = HeldEdges(edge("A", "B"), edge("B", "C"), edge("C", "B", "x"))
    assert {"B", "C"} == trace_back(edges, "A").certain


@settings(max_examples=200, deadline=None)
@given(plants(), st.none() | st.integers(1, 3))
def test_certainty_is_what_holds_in_every_world(edges: list[Descent], place: int | None) -> None:
    """Certain is what every possible world has, and possible is what some world has and another has not."""
    lot = max((one.child for one in edges), default="L1")
    trace = trace_back(HeldEdges(*edges), lot, place)
    all_worlds = list(worlds(edges, lot, place))
    everywhere = frozenset.intersection(*all_worlds)
    assert everywhere == trace.certain
    assert frozenset().union(*all_worlds) - everywhere == trace.possible
