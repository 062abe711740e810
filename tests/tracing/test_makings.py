"""What a ball may be made of, combination by combination."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from ledger.line.rows import Descent
from ledger.tracing.back import trace_back
from ledger.tracing.makings import MOST, Block, Colour, Core, Making, Makings
from tests.tracing.lots_made import HeldEdges, edge


def plain(*shells: Descent) -> list[Descent]:
    """Blocks B1 of MB, cores C1 and C2 of MC and MD, and what a shell lot is made of."""
    cores = [edge("C1", "B1"), edge("C1", "MC", "compound"), edge("C2", "B1"), edge("C2", "MD", "compound")]
    return [edge("B1", "MB", "compound"), *cores, *shells]


def red(shell: str = "S1", batch: str = "RED", grams: int = 9) -> Descent:
    """A colour."""
    return edge(shell, batch, "colour:red", amount=grams)


def test_one_of_each_is_one_combination() -> None:
    """Block, core and colour, each with its batch."""
    found = Makings(HeldEdges(*plain(edge("S1", "C1", "core"), red()))).of("S1")
    assert (Making(Core("C1", "MC", Block("B1", "MB")), (Colour("RED", 9),)),) == found


def test_alternatives_are_told_apart_and_a_place_chooses() -> None:
    """Two core lots and two batches of one colour make four; positions leave the core that was taken."""
    shells = (
        edge("S1", "C1", "core", first=1, last=5),
        edge("S1", "C2", "core", first=6, last=9),
        red(),
        red("S1", "ROSE"),
    )
    makings = Makings(HeldEdges(*plain(*shells)))
    assert 4 == len(makings.of("S1"))
    assert {("C2", "RED"), ("C2", "ROSE")} == {(one.core.lot, one.colours[0].lot) for one in makings.of("S1", 6)}
    assert (True, False) == (makings.placed("S1"), makings.placed("C1"))


def test_an_heir_is_made_of_what_its_lots_were_made_of() -> None:
    """A split shell lot, and cores merged of two."""
    edges = plain(
        edge("C3", "C1", "merge"), edge("C3", "C2", "merge"), edge("S1", "C3", "core"), red(), edge("S2", "S1", "split")
    )
    makings = Makings(HeldEdges(*edges))
    assert {"C1", "C2"} == {one.core.lot for one in makings.of("S2")}
    assert makings.of("S1") == makings.of("S2")


def test_a_missing_part_gives_none_and_a_cycle_ends() -> None:
    """Without cores on record there is no combination; a lot that goes on from itself adds none."""
    assert () == Makings(HeldEdges(red())).of("S1")
    looped = plain(edge("S1", "S2", "split"), edge("S2", "S1", "split"))
    assert () == Makings(HeldEdges(*looped)).of("S1")


def test_too_many_combinations_are_cut() -> None:
    """One more than is told apart, so that it shows."""
    shells = [edge("S1", "C1", "core"), *(edge("S1", f"R{n}", f"colour:{c}") for n in range(9) for c in "abcdefghi")]
    assert MOST + 1 == len(Makings(HeldEdges(*plain(*shells))).of("S1"))


def test_a_lot_is_asked_for_once() -> None:
    """What is known is not asked for again."""
    edges = HeldEdges(*plain(edge("S1", "C1", "core"), red()))
    makings = Makings(edges)
    makings.of("S1")
    asked = edges.questions
    makings.of("S1", 3)
    assert (3, 3) == (asked, edges.questions)


@st.composite
def shells(draw: st.DrawFn) -> list[Descent]:
    """Shell lot S1 of some cores of some blocks, each poured of one or two batches; some lots went on from others."""
    batches = st.lists(st.sampled_from(["M1", "M2", "M3"]), min_size=1, max_size=2, unique=True)
    edges = [edge(block, batch, "compound") for block in ("B1", "B2") for batch in draw(batches)]
    for core in ("C1", "C2"):
        edges += [edge(core, block) for block in draw(st.lists(st.sampled_from(["B1", "B2"]), min_size=1, unique=True))]
        edges += [edge(core, batch, "compound") for batch in draw(batches)]
    if draw(st.booleans()):
        edges += [edge("C3", "C1", "merge"), edge("C3", "C2", "merge")]
    cores = ["C1", "C2", *(["C3"] if len(edges) and edges[-1].child == "C3" else [])]
    for part, among in (("core", cores), ("colour:red", ["M1", "M3", "R1"]), ("colour:blue", ["R1", "R2"])):
        for lot in draw(st.lists(st.sampled_from(among), min_size=1, max_size=2, unique=True)):
            first = draw(st.none() | st.integers(1, 4))
            edges.append(edge("S1", lot, part, first=first, last=None if first is None else first + 2))
    return edges


@given(shells(), st.none() | st.integers(1, 6))
def test_what_is_in_every_combination_is_certain(edges: list[Descent], place: int | None) -> None:
    """And what is in some is possible, as a trace back finds them; lots that only pass pieces on are no part of it."""
    found = Makings(HeldEdges(*edges)).of("S1", place)
    trace = trace_back(HeldEdges(*edges), "S1", place)
    named = frozenset[str]().union(*(one.lots for one in found))
    if len(found) <= MOST:
        assert named == (trace.certain | trace.possible) - {"C3"}
        assert frozenset.intersection(*(one.lots for one in found)) == trace.certain - {"C3"}
