"""Cutting and placing a web of lots: sums stay, columns go by stage, nothing lies over anything, and it is always the same."""

from __future__ import annotations

from itertools import combinations
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from api.pages.lots.trace_cut import STAGES, Cut, cut_web, sums
from api.pages.lots.trace_layout import lay_out
from ledger.application.trace_web import TraceWeb, WebLine, WebLot
from ledger.tracing.parts import Certainty

CERTAINTIES: st.SearchStrategy[Certainty] = st.sampled_from(("certain", "possible"))


def lot(name: str, stage: str, **more: Any) -> WebLot:
    """A lot of a web."""
    return WebLot(
        lot=name, stage=stage, **{"certainty": "certain", "made": 1, "used": 1, "left": 0, "began_ms": 0, **more}
    )


@st.composite
def webs(draw: st.DrawFn) -> TraceWeb:
    """A web with up to fifteen lots a stage, and lines from any lot to any lot of a later stage."""
    lots = [lot("S", "shell")]
    for stage in STAGES:
        lots += [lot(f"{stage}-{number:02d}", stage) for number in range(draw(st.integers(0, 15)))]
    pairs = [(one, two) for one, two in combinations(lots, 2)]
    chosen = draw(st.lists(st.sampled_from(pairs), max_size=40, unique=True)) if pairs else []
    lines = []
    for one, two in chosen:
        parent, child = sorted((one, two), key=lambda end: STAGES.index(end.stage))
        if parent.stage != child.stage:
            amount, sure = draw(st.integers(1, 10**9)), draw(CERTAINTIES)
            lines.append(WebLine(parent=parent.lot, child=child.lot, part="part", amount=amount, certainty=sure))
    return TraceWeb(lot="S", direction="both", lots=tuple(lots), lines=tuple(lines), whole=True)


@given(webs(), st.integers(1, 12))
def test_sums_of_a_cut_are_those_of_the_web(web: TraceWeb, most: int) -> None:
    """What is drawn as one is added up: the links together say what the lines say, by stage too."""
    cut = cut_web(web, most)
    stage = {node.key: node.stage for node in cut.nodes}
    of_web = {name: sum(line.amount for line in web.lines if web.lot_of(line.parent).stage == name) for name in STAGES}
    of_cut = {name: sum(link.amount for link in cut.links if stage[link.tail] == name) for name in STAGES}

    assert of_web == of_cut
    assert len(web.lines) == sum(link.lines for link in cut.links)
    assert len(web.lots) == sum(node.lot is not None for node in cut.nodes) + cut.hidden


@given(webs(), st.integers(1, 12))
def test_a_lot_that_is_drawn_keeps_its_sum(web: TraceWeb, most: int) -> None:
    """The links out of its box say what its lines say; and the lot itself is always drawn."""
    cut = cut_web(web, most)
    out = sums(cut.links)
    for node in cut.nodes:
        if node.lot is not None:
            assert out.get(node.key, 0) == sum(line.amount for line in web.from_lot(node.key))
    assert "S" in {node.key for node in cut.nodes}


@given(webs(), st.integers(1, 12))
def test_nothing_lies_over_anything(web: TraceWeb, most: int) -> None:
    """Boxes of a column do not overlap, all are within the picture, and the same web gives the same picture."""
    cut = cut_web(web, most)
    layout = lay_out(cut)
    for one, two in combinations(layout.places.values(), 2):
        if one.x == two.x:
            assert one.y + one.height <= two.y or two.y + two.height <= one.y
    for place in layout.places.values():
        assert 0 <= place.x <= layout.width - place.width
        assert 0 <= place.y <= layout.height - place.height
    assert layout == lay_out(cut_web(web, most))


def test_links_are_certain_only_where_every_line_is() -> None:
    """Of several lines that are drawn as one, one that is possible makes the link possible."""
    lots = (lot("S", "shell"), *(lot(f"C{number}", "core") for number in range(9)))
    lines = tuple(
        WebLine(
            parent=f"C{number}", child="S", part="core", amount=1, certainty="possible" if number == 8 else "certain"
        )
        for number in range(9)
    )
    web = TraceWeb(lot="S", direction="up", lots=lots, lines=lines, whole=True)
    cut: Cut = cut_web(web, 4)

    assert {("more 0", False, 5), ("C0", True, 1)} <= {(link.tail, link.certain, link.amount) for link in cut.links}


def test_lots_that_go_on_from_each_other_stand_side_by_side() -> None:
    """A split lot is a column to the right of its source, under the same head; records that go round come to an end."""
    lots = (lot("A", "shell"), lot("B", "shell"))
    line = WebLine(parent="A", child="B", part="split", amount=1, certainty="certain")
    web = TraceWeb(lot="A", direction="down", lots=lots, lines=(line,), whole=True)
    assert [("A", 0), ("B", 1)] == [(node.key, node.column) for node in cut_web(web).nodes]

    back = WebLine(parent="B", child="A", part="merge", amount=1, certainty="certain")
    round_about = TraceWeb(lot="A", direction="down", lots=lots, lines=(line, back), whole=True)
    assert 2 == len(lay_out(cut_web(round_about)).lines)
