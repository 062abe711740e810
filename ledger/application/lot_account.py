"""A lot as it is known by its row: whether the book has it, and what came in and went out."""

from __future__ import annotations

import msgspec

from ledger.errors import NotFound
from ledger.line.lots import left_of
from ledger.line.rows import Lot
from ledger.store.reader import Reader


class LotAccount(msgspec.Struct, frozen=True, kw_only=True):
    """What came in and went out: grams of materials and batches, pieces from blocks on. ``left`` may be below zero."""

    unit: str
    made: int
    rejects: int
    adjusted: int
    used: int
    lost: int
    left: int


def known_lot_row(reader: Reader, lot: str) -> Lot:
    """The row of a lot. Raises NotFound."""
    row = reader.one(Lot, lot)
    if row is None:
        raise NotFound(
            f"lot {lot} is not in the book", where="lot", mend="scan the traveller again, or check the id on it"
        )
    return row


def lot_account(row: Lot) -> LotAccount:
    """The account of a lot as its row has it."""
    return LotAccount(
        unit="g" if row.stage in {"material", "batch"} else "pieces",
        made=row.made,
        rejects=row.rejects,
        adjusted=row.adjusted,
        used=row.used,
        lost=row.lost,
        left=left_of(row),
    )
