"""A lot said through the forms of the stations, by whoever has hands: from a drum of resin to drilled shells."""

from __future__ import annotations

import httpx

from tests.pages.station_service import MINUTE, Hand

MACHINES = {"line": "l1", "mould_set": "ms1", "mixer": "mx1"}


def entered(hand: Hand, answer: httpx.Response) -> str:
    """The address after an entry, followed; the page says that it stands and that nothing was found wrong."""
    assert 303 == answer.status_code, answer.text.partition('class="refused"')[2][:600]
    hand.open(answer.headers["location"])
    assert 'class="done"' in hand.page.text
    assert '<p class="bad">' not in hand.page.text
    return answer.headers["location"]


def begin(hand: Hand, stage: str, pour_min: int, **typed: str | list[str]) -> None:
    """Begin a pour by its button: the page keeps what was typed and when; then its time passes."""
    hand.start(stage, **MACHINES, **typed)
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
