"""Numbers in hand at an engraving station: a few, each once, found again from the book alone."""

from __future__ import annotations

from ledger.application.numbers_ahead import AHEAD, Desk, InHand, numbers_in_hand, take_numbers
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at


def desk(floor: Floor, station: str = "ENG-1", word: str = "4f2a") -> Desk:
    """A browser at a station, in the lead's name."""
    return Desk(floor.lead.account, station, word)


def take(floor: Floor, one: Desk, lot: str = "SL-1") -> InHand:
    """Take numbers where few are in hand."""
    return take_numbers(floor.book, floor.lead, one, lot)


def in_hand(floor: Floor, one: Desk, lot: str = "SL-1") -> tuple[str, ...]:
    """What the book says is in hand."""
    with open_reader(floor.book.store) as reader:
        return numbers_in_hand(reader, one, lot).serials


def engrave(floor: Floor, serial: str, station: str = "ENG-1") -> None:
    """Register a ball of SL-1 under a number of the own scheme."""
    said = {"kind": "ball-engraved", "at": at(70), "unit": f"U-{serial}", "lot": "SL-1", "serial": serial}
    floor.say({**said, "weight_class": 15, "station": station})


def test_a_few_are_taken_and_kept_in_order(ready: Floor) -> None:
    """The first block holds so many numbers, and asking again while enough are there takes none."""
    taken = take(ready, desk(ready))
    assert AHEAD == len(set(taken.serials))
    assert taken == take(ready, desk(ready))
    assert taken.serials == in_hand(ready, desk(ready))


def test_engraved_ones_are_gone_and_more_are_taken_in_time(ready: Floor) -> None:
    """After four of six, two are left; then a further block comes behind them, and no number twice."""
    first = take(ready, desk(ready)).serials
    for serial in first[:4]:
        engrave(ready, serial)
    assert first[4:] == in_hand(ready, desk(ready))

    second = take(ready, desk(ready))
    assert first[4:] == second.serials[:2]
    assert (2, 2 + AHEAD) == (second.blocks, len(set(second.serials)))
    assert second.serials == in_hand(ready, desk(ready))


def test_a_lot_that_ends_takes_no_more_than_it_needs(floor: Floor) -> None:
    """Of a lot of two balls two numbers are taken."""
    floor.line(2)
    assert 2 == len(take(floor, desk(floor)).serials)


def test_other_stations_browsers_and_lots_have_numbers_of_their_own(ready: Floor) -> None:
    """Two stations, and two browsers that call themselves one station, never hold the same number."""
    desks = [desk(ready), desk(ready, "ENG-2"), desk(ready, word="77aa")]
    held = [serial for one in desks for serial in take(ready, one).serials]
    assert len(desks) * AHEAD == len(set(held))


def test_many_blocks_are_found_by_halving(ready: Floor) -> None:
    """After a whole lot the numbers in hand are still those of the newest blocks."""
    for _ in range(30):
        engrave(ready, take(ready, desk(ready)).serials[0])
    held = take(ready, desk(ready))
    assert held.serials == in_hand(ready, desk(ready))
    assert len(held.serials) <= 2 * AHEAD
