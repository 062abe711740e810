"""Consignees: who is in the register, and what each has now by the book."""

from __future__ import annotations

import msgspec
from msgspec import UNSET

from ledger.application.histories import instant_text
from ledger.errors import NotFound
from ledger.line.case_rows import Consignee
from ledger.line.consignees import ConsigneeRegistered
from ledger.store.reader import Reader
from ledger.store.selections import every_row
from ledger.store.suspects import away_with, balls_away

LISTED = 10_000
"""Balls that one answer lists."""


class ConsigneeSeen(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A consignee: ``address`` are its lines, ``balls`` how many are away with it by the book."""

    consignee: str
    name: str
    market: str
    balls: int
    fact: str
    address: tuple[str, ...] = ()
    language: str = ""


class BallAway(msgspec.Struct, frozen=True, kw_only=True):
    """A ball that is away with a consignee."""

    unit: str
    serial: str | None
    lot: str
    shipment: str
    sent_at: str
    purpose: str


class ConsigneeView(msgspec.Struct, frozen=True, kw_only=True):
    """A consignee and what it has now by the book, by shipment and unit; ``more``: over 10,000 balls."""

    consignee: ConsigneeSeen
    balls: tuple[BallAway, ...]
    more: bool


def consignees_of(reader: Reader) -> tuple[ConsigneeSeen, ...]:
    """Every consignee of the register, by id."""
    away = balls_away(reader)
    return tuple(
        consignee_seen(reader, row, away.get(row.consignee, 0)) for row in every_row(reader.transaction, Consignee)
    )


def consignee_view(reader: Reader, consignee: str) -> ConsigneeView:
    """One consignee. Raises NotFound."""
    row = reader.one(Consignee, consignee)
    if row is None:
        raise NotFound(
            f"consignee {consignee} is not in the register", where="consignee", mend="register it, or check the id"
        )
    found = away_with(reader, consignee, LISTED + 1)
    return ConsigneeView(
        consignee=consignee_seen(reader, row, balls_away(reader).get(consignee, 0)),
        balls=tuple(
            BallAway(
                unit=one.unit,
                serial=one.serial,
                lot=one.lot,
                shipment=one.shipment,
                sent_at=instant_text(one.at_ms),
                purpose=one.purpose,
            )
            for one in found[:LISTED]
        ),
        more=len(found) > LISTED,
    )


def consignee_seen(reader: Reader, row: Consignee, balls: int) -> ConsigneeSeen:
    """A consignee with its name, which stands in the entry that registered it last."""
    fact = reader.fact(row.address)
    record = None if fact is None else fact.record
    name, address = row.consignee, ""
    if isinstance(record, ConsigneeRegistered):
        name, address = record.name, "" if record.address is UNSET else record.address
    return ConsigneeSeen(
        consignee=row.consignee,
        name=name,
        market=row.market,
        balls=balls,
        fact=row.address,
        address=tuple(line.strip() for line in address.splitlines() if line.strip()),
        language=row.language or "",
    )
