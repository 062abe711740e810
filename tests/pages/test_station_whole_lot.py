"""A whole lot said through the forms of the stations, from a drum of resin to turned shells and marked balls."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.line.rows import Lot, LotStep, Unit
from ledger.store.reader import open_reader
from tests.pages.lot_by_forms import begin, entered, mixed, moulded, poured
from tests.pages.station_service import MINUTE, Floor, Hand, floor_running


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant with a model and its plan, and nothing poured."""
    with floor_running(tmp_path) as one:
        yield one


def test_a_lot_goes_from_the_drum_to_marked_balls_through_forms(floor: Floor) -> None:
    """Every step is entered once, without a breach, by forms alone, and the book's counts are those that were typed."""
    hand = Hand(floor)
    mixed(hand)
    moulded(hand)
    poured(hand)
    assert 1 == hand.page.text.count("disabled aria-disabled") // 2
    hand.wait(24)
    hand.open("/station/shells?lot=SL-1")
    for step in (1, 2):
        entered(hand, hand.send("/station/shells/step", step))
    hand.open("/station?scan=sl-1")
    assert "/station/finishing" == hand.page.url.path
    for step in range(3):
        entered(hand, hand.send("/station/finishing/step", step, grit="2000"))
    entered(hand, hand.send("/station/finishing/ball", unit="u-1", step="spin-tested"))
    entered(hand, hand.send("/station/finishing/ball", unit="u-1", step="cg-marked"))
    entered(hand, hand.send("/station/finishing/lost", count="1", how="scrap", reason="chip"))
    hand.close()
    with open_reader(floor.book.store) as reader:
        lots = {lot: reader.one(Lot, lot) for lot in ("BL-1", "CL-1", "SL-1")}
        steps = [row.step for row in reader.rows(LotStep, "lot", "SL-1")]
        unit = reader.one(Unit, "U-1")
    counts = {name: (lot.made, lot.rejects, lot.used, lot.lost) for name, lot in lots.items() if lot is not None}
    assert {"BL-1": (22, 1, 22, 0), "CL-1": (21, 1, 21, 0), "SL-1": (20, 1, 1, 1)} == counts
    assert ["hole-drilled", "pin-filled", "turned", "sanded", "polished", "finished"] == sorted(
        steps, key=("hole-drilled", "pin-filled", "turned", "sanded", "polished", "finished").index
    )
    assert unit is not None
    assert (True, "SL-1") == (unit.cg_marked, unit.lot)
    assert [] == [told for lot in lots for told in floor.book.lot(lot).history if told.breaches]


def test_a_pour_is_not_demoulded_before_its_time(floor: Floor) -> None:
    """After its beginning the page counts to the demoulding, its button is closed till then, and a form sent early is refused."""
    hand = Hand(floor)
    mixed(hand)
    hand.open("/station/blocks?from=BT-1")
    begin(hand, "blocks", 0, model="M1", kg=["10", ""], lot="BL-7", count="5", rejects="0")
    assert "Not before" in hand.page.text
    assert 'data-enter disabled aria-disabled="true" aria-describedby="demould"' in hand.page.text
    floor.clock.ms += 5 * MINUTE
    answer = hand.send("/station/blocks/pour")
    assert (422, True, "BL-7") == (
        answer.status_code,
        "block-demould lasted 5 min" in answer.text,
        hand.fields("/station/blocks/pour")["lot"][0],
    )
    assert floor.lot("BL-7") is None
    floor.clock.ms += 61_000
    entered(hand, hand.send("/station/blocks/pour"))
    hand.close()
