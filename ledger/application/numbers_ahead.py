"""Numbers of the own scheme that an engraving station has in hand for a lot, a few at a time.

They are allotted in blocks of `AHEAD` under keys that a station, a lot and a count fix (``numbers:ENG-1:SL-104:4f2a:0``),
so a repeated request gives the same numbers, and what is in hand is found again from the book alone.  A browser at the
station has a word of its own in the key: two that call themselves the same station are never shown the same number.
Numbers that were passed over are not offered again once two further blocks were begun; the scheme has 2 x 10^11.
"""

from __future__ import annotations

from typing import NamedTuple

from ledger.access.tokens import Account
from ledger.application.pourbook import Pourbook
from ledger.application.said_before import said_before
from ledger.line.allotting import SerialsAllotted
from ledger.line.lots import left_of
from ledger.line.rows import Lot, SerialRow
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import rows_with

AHEAD = 6
"""Numbers in a block."""

FEW = 3
"""With fewer in hand, another block is asked for."""


class Desk(NamedTuple):
    """Who engraves where: the account, the station, and the word of the browser (letters and digits)."""

    account: str
    station: str
    word: str


class InHand(NamedTuple):
    """Numbers allotted and not engraved, in order, and how many blocks there are."""

    serials: tuple[str, ...]
    blocks: int


def numbers_in_hand(reader: Reader, desk: Desk, lot: str) -> InHand:
    """What a desk has in hand for a lot; O(log n) look-ups."""
    blocks = _blocks(reader, desk, lot)
    serials: list[str] = []
    for block in range(max(0, blocks - 2), blocks):
        said = said_before(reader, desk.account, _key(desk, lot, block), lambda _: True) or ()
        serials += [serial for record in said if isinstance(record, SerialsAllotted) for serial in record.serials]
    borne = {row.serial for row in rows_with(reader, SerialRow, "serial", serials)} if serials else set()
    return InHand(tuple(serial for serial in serials if serial not in borne), blocks)


def take_numbers(book: Pourbook, account: Account, desk: Desk, lot: str) -> InHand:
    """Have at least `FEW` numbers in hand, or as many as there are balls left. Raises Forbidden and what allotting does."""
    with open_reader(book.store) as reader:
        held = numbers_in_hand(reader, desk, lot)
        row = reader.one(Lot, lot)
    left = 0 if row is None else left_of(row)
    # A lot that is drawn out is engraved all the same where a ball is there: the number is not what is short.
    if len(held.serials) >= min(FEW, max(left, 1)):
        return held
    count = max(1, min(AHEAD, left - len(held.serials)))
    given = book.allot_serials(desk.station, count, _key(desk, lot, held.blocks), account)
    return InHand((*held.serials, *given.serials), held.blocks + 1)


def _key(desk: Desk, lot: str, block: int) -> str:
    return f"numbers:{desk.station}:{lot}:{desk.word}:{block}"


def _blocks(reader: Reader, desk: Desk, lot: str) -> int:
    """How many blocks were begun: keys are used without a gap, so the first free one is found by halving."""

    def is_used(block: int) -> bool:
        return reader.requested(desk.account, _key(desk, lot, block)) is not None

    if not is_used(0):
        return 0
    low, high = 0, 1
    while is_used(high):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if is_used(middle) else (low, middle)
    return high
