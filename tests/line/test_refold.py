"""Folding nodes anew: the order of facts, lots that go on from one another, and the same rows as live."""

from __future__ import annotations

from ledger.line.fact import Fact
from ledger.line.lot_changes import LotSplit
from ledger.line.refold import MAKERS, OWNED, _in_order, fold_nodes, refold_needs
from ledger.line.state import State
from ledger.line.views import VIEWS
from ledger.line.vocabulary import KIND_OF
from tests.line.independent_fold import check_views
from tests.line.making import at, cores, released_ball, shells, stocked_plant


def _fact(index: int, record: object) -> Fact:
    return Fact(index, 0, record, "a-mary", 0)  # type: ignore[arg-type]  # a record


def test_facts_are_folded_in_the_order_of_their_addresses() -> None:
    """Numbers, not text: 10.0 after 9.0."""
    facts = [_fact(10, cores("CL-1", ("BL-1", 1))), _fact(9, cores("CL-2", ("BL-1", 1)))]
    assert ["9.0", "10.0"] == [fact.address for fact in _in_order({fact.address: fact for fact in facts})]


def test_the_fact_that_made_a_lot_comes_before_the_others_about_it() -> None:
    """Through a chain of lots that were all entered later, and also where two claim to be made of each other."""
    facts = [
        _fact(1, shells("SL-1", ("CL-2", 1))),
        _fact(2, LotSplit(at=at(8), lot="CL-1", into="CL-2", count=1)),
        _fact(3, cores("CL-1", ("BL-1", 1))),
    ]
    assert ["3.0", "2.0", "1.0"] == [fact.address for fact in _in_order({fact.address: fact for fact in facts})]
    circle = [_fact(1, cores("CL-1", ("CL-2", 1))), _fact(2, cores("CL-2", ("CL-1", 1)))]
    assert {"1.0", "2.0"} == {fact.address for fact in _in_order({fact.address: fact for fact in circle})}


def test_heirs_are_folded_with_the_lots_that_they_are_heir_to() -> None:
    """Up and down the splits; a pour is no heir, and other nodes stand for themselves."""
    plant = stocked_plant()
    plant.submit(LotSplit(at=at(8), lot="SL-1", into="SL-2", count=4))
    plant.submit(LotSplit(at=at(8), lot="SL-2", into="SL-3", count=2))
    for start in ("SL-1", "SL-2", "SL-3"):
        state, nodes = State(), {f"lot:{start}"}
        plant._load(state, lambda state=state, nodes=nodes: refold_needs(nodes, state))
        assert {"lot:SL-1", "lot:SL-2", "lot:SL-3"} == fold_nodes(nodes, state)
    assert {"unit:U-1"} == fold_nodes(["unit:U-1", "gauge-set:G", "shipment:S", "fact:1.0"], State())


def test_every_view_row_belongs_to_a_sort_of_node_that_is_folded() -> None:
    """Or is written from the fact itself, or from what it is about, or by a kind that is not corrected."""
    owned = {row for rows in OWNED.values() for row, _ in rows}
    left = {view.row.__name__ for view in VIEWS} - {row.__name__ for row in owned}
    written_once = {"PlantRules", "ReleasePolicy", "ErasedField", "ErasedName", "ErasedBlob"}
    parts = ("File", "Part", "Sample", "Freeze", "Signature", "HandOver", "Reply", "Announcement", "Change")
    written_once |= {f"Approval{part}" for part in parts} | {"Examination"}
    assert {"FactRow", "About", "BreachRow", "Concession", "GaugeSet"} | written_once == left


def test_makers_are_kinds_of_the_book() -> None:
    """Each is in the table of kinds."""
    assert set(KIND_OF) >= MAKERS


def test_a_fold_of_everything_gives_the_live_rows() -> None:
    """From a plant with one released ball."""
    plant = stocked_plant()
    released_ball(plant)
    check_views(plant)
