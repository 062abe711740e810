"""Balls: registered at the end of the line, looked up by number, looked at in full.

Registering is a convenience over ``POST /submissions``: engraving and readings in one body become one entry.
"""

import asyncio
import time
from typing import Annotated, Any, Literal

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath
from msgspec import UNSET, Meta, UnsetType

from api.guards import account_of
from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import idempotency_key, read_body, read_query
from api.routes.submissions import Recorded, recorded
from api.standby import check_newest
from ledger.application.ball_view import Ball, BallFound
from ledger.application.judging import JudgedBy
from ledger.conformity.verdict import CAUTION
from ledger.errors import MalformedQuantity
from ledger.line.balls import BallEngraved, SerialText
from ledger.line.inspections import Inspection, Reading
from ledger.line.moulding import WeightClass
from ledger.line.quantity import format_number, parse_weight
from ledger.line.record import At, DecimalText, Id, Pieces, Record, Slug
from ledger.line.submission import Submission


class Weighed(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A weight as a person writes it, "15 lb 3 oz", "15.19 lb" or "6.889 kg", and the scale that it was read from."""

    typed: Annotated[str, Meta(min_length=1, max_length=40)]
    gauge: Id


class BallMade(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A ball as the engraving station registers it: its serial and, where it was measured there, its readings."""

    unit: Id
    lot: Id
    serial: SerialText
    weight_class: WeightClass
    station: Id
    at: At
    scheme: Literal["own", "prior"] = "own"
    readings: Annotated[tuple[Reading, ...], Meta(max_length=40)] = ()
    weight: Weighed | UnsetType = UNSET
    """Its weight in an explicit form; it becomes a reading like the others."""
    place: Pieces | UnsetType = UNSET
    surface: Slug | UnsetType = UNSET
    temperature_c: DecimalText | UnsetType = UNSET
    humidity_percent: DecimalText | UnsetType = UNSET
    verdicts: bool = True
    """False leaves the verdicts out of the answer, which makes it quicker; they are never part of the entry."""


class Registered(Recorded, frozen=True, kw_only=True, omit_defaults=True):
    """What the engraving station gets back: the receipt, where the label is, breaches, and the verdicts as of now."""

    judged: tuple[JudgedBy, ...] = ()
    caution: str = ""


class Serial(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A serial as typed or scanned."""

    serial: Annotated[str, Meta(min_length=1, max_length=40)]


class Found(msgspec.Struct, frozen=True, kw_only=True):
    """Every ball that bears or bore a number: several where an earlier scheme repeated it, none where it is unknown."""

    balls: tuple[BallFound, ...]


MADE = msgspec.json.Decoder(BallMade)


class Balls(Controller):
    """Balls in and out of the book."""

    path = "/balls"

    @post(
        opt=described(
            Operation(
                "Register a ball: engraving and readings in one entry",
                "line",
                action="register",
                body=BallMade,
                answer=Registered,
                keyed=True,
                problems=(409, 422, 503),
                status=201,
            )
        ),
    )
    async def register(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Enter a ball. 201, or 200 for a repeated key."""
        began = time.perf_counter()
        parts = parts_of(request)
        key = idempotency_key(request)
        made = await read_body(request, MADE)
        submission = Submission(key=key, records=ball_records(made))
        entered = await parts.submit(submission, account_of(request))
        parts.registrations.observe(time.perf_counter() - began)
        judged = await asyncio.to_thread(parts.book.judged, made.unit) if made.verdicts else ()
        answer = Registered(
            **msgspec.structs.asdict(recorded(parts, entered, submission)),
            judged=tuple(judged),
            caution=CAUTION if judged else "",
        )
        return json_answer(answer, status=200 if entered.repeated else 201)

    @get(
        opt=described(
            Operation(
                "Find balls by serial, as typed or scanned",
                "look up",
                action="look-up",
                query=Serial,
                answer=Found,
                may_lag=True,
            )
        ),
    )
    async def find(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Every ball that a number may mean."""
        asked = read_query(request, Serial)
        balls = await asyncio.to_thread(parts_of(request).book.find, asked.serial)
        check_newest(found=bool(balls))
        return json_answer(Found(balls=balls))

    @get(
        "/{unit:str}",
        opt=described(
            Operation(
                "Everything about one ball, back to the drum",
                "look up",
                action="look-up",
                answer=Ball,
                problems=(404,),
                may_lag=True,
            )
        ),
    )
    async def show(self, request: Request[Any, Any, Any], unit: FromPath[str]) -> Response[bytes]:
        """One ball by the id of its unit."""
        return json_answer(await asyncio.to_thread(parts_of(request).book.ball, unit))


def weight_reading(weighed: Weighed) -> Reading:
    """The reading that a weight in an explicit form is. Raises MalformedQuantity for one that can be read two ways."""
    try:
        value, unit = parse_weight(weighed.typed)
    except MalformedQuantity as error:
        raise MalformedQuantity(
            error.problem, expected=error.expected, got=error.got, where="weight.typed", mend=error.mend
        ) from error
    return Reading(quantity="mass", unit=unit, values=(format_number(value),), gauge=weighed.gauge)


def ball_records(made: BallMade) -> tuple[Record, ...]:
    """The records that a registration says: the engraving and, with readings, the inspection."""
    engraved = BallEngraved(
        at=made.at,
        unit=made.unit,
        lot=made.lot,
        serial=made.serial,
        weight_class=made.weight_class,
        station=made.station,
        scheme=made.scheme,
        place=made.place,
    )
    readings = made.readings if made.weight is UNSET else (*made.readings, weight_reading(made.weight))
    if not readings:
        return (engraved,)
    measured = Inspection(
        at=made.at,
        unit=made.unit,
        station=made.station,
        readings=readings,
        surface=made.surface,
        temperature_c=made.temperature_c,
        humidity_percent=made.humidity_percent,
    )
    return (engraved, measured)
