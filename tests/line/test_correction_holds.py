"""A replaced fact is judged by the holds that stood at its place, whatever was placed or lifted since."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.errors import LedgerError, RuleStands
from ledger.line.holds import HoldLifted, HoldPlaced
from ledger.line.lineage import hold_at
from ledger.line.rows import Hold
from ledger.line.shipments import Shipment
from tests.line.independent_fold import check_views
from tests.line.making import (
    at,
    blocks,
    cores,
    engrave,
    inspection,
    ready_plant,
    release,
    released_ball,
    sample,
    stocked_plant,
)
from tests.line.plant import Plant
from tests.line.test_corrections import correction


def held(hold: str, node: str, *stops: str, recall: bool = False) -> HoldPlaced:
    """A hold placed on a node on day 8."""
    return HoldPlaced(at=at(8), hold=hold, reason="void", node=node, stops=stops, recall=recall)  # type: ignore[arg-type]  # words of the kind


def shipment(unit: str, **fields: Any) -> Shipment:
    """A ball sent on day 12."""
    return Shipment(**{"at": at(12), "shipment": "SH-1", "units": (unit,), "consignee": "a shop", **fields})


def lifted(hold: str) -> HoldLifted:
    """A hold lifted on day 12."""
    return HoldLifted(at=at(12), hold=hold, reason="fine")


def test_a_hold_placed_since_does_not_judge_what_was_done_before() -> None:
    """A pour is corrected while its block lot is on hold: it was not when it was poured. A release likewise."""
    plant = stocked_plant()
    released = released_ball(plant)
    plant.submit(held("H-1", "lot:BL-1", "use", "release"))
    assert [] == plant.submit(correction(("5.0", cores("CL-1", ("BL-1", 20), note="seen")))).codes
    assert [] == plant.submit(correction((released.address, release(plant, "U-1", at=at(11, "09:00"))))).codes
    assert "under-hold" in plant.submit(cores("CL-2", ("BL-1", 1))).codes
    check_views(plant)


def test_a_hold_lifted_since_judges_what_was_done_under_it() -> None:
    """The block lot was on hold when the cores were poured of it."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", 20))
    plant.submit(held("H-1", "lot:BL-1", "use"))
    poured = plant.submit(cores("CL-1", ("BL-1", 20)))
    plant.submit(lifted("H-1"))
    assert ["under-hold"] == poured.codes
    corrected = plant.submit(correction((poured.address, cores("CL-1", ("BL-1", 19)))))
    assert ["under-hold"] == corrected.codes
    check_views(plant)


def test_a_release_does_not_move_to_a_ball_that_was_on_hold_then() -> None:
    """The hold on it was lifted afterwards; released anew, it may go."""
    plant = stocked_plant()
    engrave(plant, "U-2")
    plant.submit(inspection("U-2"), held("H-1", "unit:U-2", "release"))
    released = released_ball(plant)
    plant.submit(lifted("H-1"), sample())
    refusal = plant.refused(correction((released.address, release(plant, "U-2"))))
    assert (RuleStands, "changes[0].replacement.unit") == (type(refusal), refusal.where)
    assert "H-1" in str(refusal)
    assert [] == plant.submit(release(plant, "U-2")).codes


def test_a_decision_does_not_move_to_a_ball_that_is_on_hold_now() -> None:
    """A correction is no way around a recall: the ball was not on hold when the other one was released and sent."""
    plant = stocked_plant()
    engrave(plant, "U-2")
    plant.submit(inspection("U-2"))
    released = released_ball(plant)
    sent = plant.submit(shipment("U-1"))
    plant.submit(held("H-1", "unit:U-2", "release", "shipment", recall=True))
    refusal = plant.refused(correction((released.address, release(plant, "U-2")), (sent.address, None)))
    assert (RuleStands, "changes[0].replacement.unit") == (type(refusal), refusal.where)
    assert [] == plant.submit(correction((sent.address, shipment("U-1", consignee="another shop")))).codes
    assert RuleStands is type(plant.refused(correction((sent.address, shipment("U-2")))))
    check_views(plant)


def test_the_hold_of_a_breach_stands_from_the_entry_that_brought_it() -> None:
    """The first body's from its own, a corrected body's from the correction."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", at=at(3, "08:01")))
    assert "4.0" == plant.row(Hold, "B4.0.0").opened
    plant.submit(correction(("4.0", blocks("BL-1", at=at(3, "08:02")))))
    assert ("5.0", None) == (plant.row(Hold, "B5.0.0.0").opened, plant.row(Hold, "B5.0.0.0").lifted)
    plant.submit(lifted("B5.0.0.0"))
    assert "6.0" == plant.row(Hold, "B5.0.0.0").lifted
    check_views(plant)


def _open(plant: Plant) -> set[str]:
    return {hold.hold for hold in plant.tables.rows[Hold].values() if isinstance(hold, Hold) and hold.open}


@given(
    steps=st.lists(
        st.tuples(
            st.sampled_from(["place", "recall", "lift"]), st.integers(0, 5), st.sampled_from(["a-mary", "a-john"])
        ),
        max_size=14,
    )
)
@settings(max_examples=60)
def test_a_hold_at_a_place_is_as_it_was_then(steps: list[tuple[str, int, str]]) -> None:
    """From the last rows, for every place: the holds that were open just before it."""
    plant = stocked_plant()
    then = {len(plant.entries): _open(plant)}
    for number, (what, which, author) in enumerate(steps):
        names = [f"H-{at_step}" for at_step in range(number)]
        record = lifted(names[which % len(names)]) if what == "lift" and names else None
        try:
            plant.submit(record or held(f"H-{number}", "lot:SL-1", "release", recall=what == "recall"), author=author)
        except LedgerError:
            continue
        then[len(plant.entries)] = _open(plant)
    rows = [hold for hold in plant.tables.rows[Hold].values() if isinstance(hold, Hold)]
    for index, names_open in then.items():
        standing = [hold_at(hold, (index, 0)) for hold in rows]
        assert names_open == {hold.hold for hold in standing if hold is not None and hold.open}
    check_views(plant)
