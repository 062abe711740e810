"""Histories of balls and lots as EPCIS 2.0 events, and the words of our own that stand in them."""

import asyncio
from typing import Any, Literal

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.operation import Operation, described
from api.parts import file_answer, json_answer, parts_of
from api.request_body import read_query
from ledger.application.epcis import lot_events, serial_events
from ledger.application.pourbook import Pourbook
from ledger.errors import NotFound
from ledger.evidence.own_terms import TERMS
from ledger.evidence.withholding import Withholding
from ledger.store.reader import open_reader

MEDIA_TYPE = "application/ld+json"


class Told(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is told of recipe quantities, suppliers and consignees. People and notes are told nowhere."""

    opened: Literal["nothing", "withheld"] = "nothing"

    def withholding(self) -> Withholding:
        """What stays closed."""
        return Withholding(opened=() if self.opened == "nothing" else (self.opened,))


class EpcisRoutes(Controller):
    """Events to hand over."""

    @get(
        "/epcis/serials/{serial:str}",
        opt=described(
            Operation(
                "The history of the ball that bears a number, with the lots above it, as EPCIS 2.0 events",
                "evidence",
                action="dossier",
                query=Told,
                media=MEDIA_TYPE,
                problems=(404,),
                may_lag=True,
            )
        ),
    )
    async def serial(self, request: Request[Any, Any, Any], serial: FromPath[str]) -> Response[bytes]:
        """Events of one ball."""
        told = read_query(request, Told)
        return file_answer(await asyncio.to_thread(_serial, parts_of(request).book, serial, told), MEDIA_TYPE)

    @get(
        "/epcis/lots/{lot:str}",
        opt=described(
            Operation(
                "The history of a lot, with the lots above it and what was made of it, as EPCIS 2.0 events",
                "evidence",
                action="dossier",
                query=Told,
                media=MEDIA_TYPE,
                problems=(404, 413),
                may_lag=True,
            )
        ),
    )
    async def lot(self, request: Request[Any, Any, Any], lot: FromPath[str]) -> Response[bytes]:
        """Events of one lot."""
        told, parts = read_query(request, Told), parts_of(request)
        return file_answer(await parts.long_read(_lot, parts.book, lot, told), MEDIA_TYPE)

    @get(
        "/terms",
        opt=described(
            Operation("Words of our own in events and credentials, each with its meaning", "evidence", limited=True)
        ),
    )
    async def terms(self) -> Response[bytes]:
        """Every word."""
        return json_answer(TERMS)

    @get(
        "/terms/{word:str}",
        opt=described(
            Operation(
                "The meaning of a word of our own in events and credentials", "evidence", problems=(404,), limited=True
            )
        ),
    )
    async def term(self, word: FromPath[str]) -> Response[bytes]:
        """One word."""
        if word not in TERMS:
            raise NotFound("no such word", got=word, mend="look at /terms")
        return json_answer({word: TERMS[word]})


def _serial(book: Pourbook, serial: str, told: Told) -> bytes:
    with open_reader(book.store) as reader:
        return serial_events(reader, serial, book.label_stem, told.withholding())


def _lot(book: Pourbook, lot: str, told: Told) -> bytes:
    with open_reader(book.store) as reader:
        return lot_events(reader, lot, book.label_stem, told.withholding())
