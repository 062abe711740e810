"""The balls of a case that one consignee holds, with what he answered of each: what he is asked on the phone."""

from __future__ import annotations

import msgspec

from ledger.application.case_balls import known_case_row
from ledger.application.consignees import ConsigneeSeen, consignee_seen
from ledger.application.notices import Models, held_by
from ledger.errors import NotFound
from ledger.line.case_rows import Consignee
from ledger.store.reader import Reader
from ledger.warranty.reconciliation import UNACCOUNTED


class BallHeld(msgspec.Struct, frozen=True, kw_only=True):
    """A ball, and the last answer about it; empty for none."""

    unit: str
    serial: str
    model: str
    shipment: str
    certainty: str
    answer: str


class HolderInCase(msgspec.Struct, frozen=True, kw_only=True):
    """A consignee in a case: ``count`` balls that it holds, of which ``balls`` are those asked for, from ``start`` on."""

    case: str
    open: bool
    consignee: ConsigneeSeen
    count: int
    answered: int
    start: int
    balls: tuple[BallHeld, ...]


def holder_in_case(reader: Reader, case: str, consignee: str, start: int, limit: int) -> HolderInCase:
    """What a consignee holds of a case. Raises NotFound. Cost: a row a ball of the case."""
    row = known_case_row(reader, case)
    known = reader.one(Consignee, consignee)
    if known is None:
        raise NotFound(f"consignee {consignee} is not in the register", where="consignee", mend="check the id")
    held = next((one.balls for one in held_by(reader, row) if one.consignee == consignee), ())
    part = held[start : start + limit]
    named = Models(reader).balls(part)
    return HolderInCase(
        case=case,
        open=row.open,
        consignee=consignee_seen(reader, known, len(held)),
        count=len(held),
        answered=sum(one.settled.answer != UNACCOUNTED for one in held),
        start=start,
        balls=tuple(
            BallHeld(
                unit=one.ball.unit,
                serial=ball.serial,
                model=ball.model,
                shipment=ball.shipment,
                certainty=one.settled.ball.certainty,
                answer="" if one.settled.answer in {None, UNACCOUNTED} else str(one.settled.answer),
            )
            for one, ball in zip(part, named, strict=True)
        ),
    )
