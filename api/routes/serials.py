"""Serials for a station: allotted before they are engraved, and entered before they are told."""

import asyncio
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, post
from msgspec import Meta

from api.guards import account_of
from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import idempotency_key, read_body
from ledger.application.serials import MOST, Allotted
from ledger.line.record import Id


class SerialsWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How many serials, and for which station."""

    station: Id
    count: Annotated[int, Meta(ge=1, le=MOST)]


WANTED = msgspec.json.Decoder(SerialsWanted)


class Serials(Controller):
    """Numbers of the own scheme."""

    @post(
        "/serials",
        opt=described(
            Operation(
                "Allot serials to a station; the same key gives the same again",
                "line",
                action="allot",
                body=SerialsWanted,
                answer=Allotted,
                keyed=True,
                problems=(409, 503),
                status=201,
            )
        ),
    )
    async def allot(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Give the next serials of the counter."""
        key = idempotency_key(request)
        wanted = await read_body(request, WANTED)
        book = parts_of(request).book
        given = await asyncio.to_thread(book.allot_serials, wanted.station, wanted.count, key, account_of(request))
        return json_answer(given, status=201)
