"""What a scan at a station names: a traveller by its lot id or address, a ball by its tag, number or label."""

from __future__ import annotations

import re
from typing import Literal
from urllib.parse import unquote

import msgspec

from ledger.application.ball_view import find_units
from ledger.errors import LedgerError, MalformedLink, NotFound
from ledger.line.gs1 import parse_link
from ledger.line.rows import Lot, Unit
from ledger.store.reader import Reader

LONGEST_SCAN = 2_000

_TRAVELLER = re.compile(r"(?:https?://[^/?#]+)?/lot/(?P<lot>[^/?#]+)", re.IGNORECASE)
_ADDRESS = re.compile(r"https?://", re.IGNORECASE)


class Scanned(msgspec.Struct, frozen=True, kw_only=True):
    """A lot, or a ball and the lot that it is of."""

    sort: Literal["lot", "ball"]
    lot: str
    stage: str
    unit: str = ""


def scanned(reader: Reader, text: str) -> Scanned:
    """What a scanned or typed text names. Raises NotFound for nothing in the book, MalformedLink for a broken address.

    A lot goes before a ball of the same id, the tag of a ball before a number; of a number that several balls bear none.
    """
    wanted = text.strip()[:LONGEST_SCAN]
    named = _TRAVELLER.fullmatch(wanted)
    if named is not None:
        return _lot(reader, unquote(named["lot"]))
    if _ADDRESS.match(wanted):
        link = parse_link(wanted)
        if link.serial is not None:
            return _ball(reader, link.serial)
        if link.lot is None:
            raise MalformedLink(
                "label names neither a lot nor a ball", got=wanted, where="scan", mend="scan the traveller of the lot"
            )
        return _lot(reader, link.lot)
    row = reader.one(Lot, wanted.upper())
    return _ball(reader, wanted) if row is None else _found(row)


def _lot(reader: Reader, lot: str) -> Scanned:
    row = reader.one(Lot, lot) or reader.one(Lot, lot.upper())
    if row is None:
        raise _nothing(lot)
    return _found(row)


def _found(row: Lot) -> Scanned:
    return Scanned(sort="lot", lot=row.lot, stage=row.stage)


def _ball(reader: Reader, text: str) -> Scanned:
    unit = reader.one(Unit, text) or reader.one(Unit, text.upper())
    if unit is None:
        try:
            found = find_units(reader, text)
        except LedgerError:
            found = ()
        unit = reader.one(Unit, found[0].unit) if len({one.unit for one in found}) == 1 else None
    if unit is None:
        raise _nothing(text)
    lot = reader.one(Lot, unit.lot)
    return Scanned(sort="ball", lot=unit.lot, stage="shell" if lot is None else lot.stage, unit=unit.unit)


def _nothing(text: str) -> NotFound:
    return NotFound(
        "nothing in the book has this id",
        expected="the id of a lot, as on its traveller, or of a ball",
        got=text,
        where="scan",
        mend="scan the traveller again, or type its id",
    )
