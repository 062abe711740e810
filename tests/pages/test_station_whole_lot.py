"""A whole lot said through the forms of the stations, from a drum of resin to turned shells and marked balls."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from ledger.line.rows import Lot, LotStep, Unit
from ledger.store.reader import open_reader
from tests.pages.station_service import MINUTE, Floor, Hand, floor_running

MACHINES = {"line": "l1", "mould_set": "ms1", "mixer": "mx1"}


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant with a model and its plan, and nothing poured."""
    with floor_running(tmp_path) as one:
        yield one


def entered(hand: Hand, answer: httpx.Response) -> str:
    """The address after an entry, followed; the page says that it stands and that nothing was found wrong."""
    assert 303 == answer.status_code, answer.text.partition('class="refused"')[2][:600]
    hand.open(answer.headers["location"])
    assert 'class="done"' in hand.page.text
    assert '<p class="bad">' not in hand.page.text
    return answer.headers["location"]


def begin(hand: Hand, stage: str, pour_min: int, **typed: str | list[str]) -> None:
    """Begin a pour by its button: the page keeps what was typed and when; then its time passes."""
    answer = hand.client.post(
        f"/station/{stage}/start", data={**hand.fields(f"/station/{stage}/pour"), **MACHINES, **typed}
    )
    assert 303 == answer.status_code
    hand.open(answer.headers["location"])
    hand.floor.clock.ms += pour_min * MINUTE


def mixed(hand: Hand) -> None:
    """A drum comes in, and a batch is mixed of it."""
    hand.open("/station/mixing")
    drum = {
        "lot": "mt-1",
        "material": "Resin",
        "received_kg": "900",
        "supplier": "A supplier",
        "expires_on": "2028-01-01",
    }
    assert "lot=MT-1" in entered(hand, hand.send("/station/mixing/receive", **drum))
    hand.floor.clock.ms += 30 * MINUTE
    hand.open("/station/mixing?scan=mt-1")
    batch: dict[str, str | list[str]] = {
        "lot": "BT-1",
        "compound": "Mix",
        "mixer": "mx-1",
        "density": "1,62",
        "minutes": "20",
        "kg": ["800,5", ""],
    }
    assert "lot=BT-1" in entered(hand, hand.send("/station/mixing/mix", **batch))


def moulded(hand: Hand) -> None:
    """Blocks are moulded from the batch, cleaned and rested."""
    hand.open("/station/blocks?scan=BT-1")
    begin(hand, "blocks", 7, model="M1", kg=["10", ""], lot="BL-1")
    assert "lot=BL-1" in entered(hand, hand.send("/station/blocks/pour", count="22", rejects="1"))
    hand.floor.clock.ms += 10 * MINUTE
    for step in range(2):
        entered(hand, hand.send("/station/blocks/step", step, minutes="5"))
    hand.wait(25)


def poured(hand: Hand) -> None:
    """Cores are poured from the blocks, trimmed and tumbled; shells are poured from the cores."""
    hand.open("/station/cores?scan=BL-1")
    hand.open(hand.page.url.path + "?" + hand.page.url.query.decode() + "&from=BT-1")
    begin(hand, "cores", 40, kg=["30", ""], pieces=["22", ""], lot="CL-1")
    entered(hand, hand.send("/station/cores/pour", count="21", rejects="1"))
    for step in range(2):
        entered(hand, hand.send("/station/cores/step", step))
    hand.wait(2)
    hand.open("/station/shells?from=CL-1&from=BT-1")
    begin(hand, "shells", 6, kg=["15", ""], colour=["Grey", ""], pieces=["21", ""], weight_class="15", lot="SL-1")
    entered(hand, hand.send("/station/shells/pour", count="20", rejects="1"))
    entered(hand, hand.send("/station/shells/step", 0))


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
