"""The warranty desk's question about a number. The answer is a proposal with reasons; a person decides."""

import asyncio
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get
from msgspec import Meta

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import read_query
from ledger.line.record import On
from ledger.warranty.answer import WarrantyAnswer


class WarrantyQuestion(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A number as read off the ball, and the days that the term runs by, as far as they are known."""

    serial: Annotated[str, Meta(min_length=1, max_length=40)]
    bought_on: On | None = None
    on: On | None = None


class Warranty(Controller):
    """Questions of the desk."""

    @get(
        "/warranty",
        opt=described(
            Operation(
                "Made by us, when, of what, in term, what is unusual",
                "warranty",
                action="warranty",
                query=WarrantyQuestion,
                answer=WarrantyAnswer,
            )
        ),
    )
    async def ask(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """What can be said about a number."""
        asked = read_query(request, WarrantyQuestion)
        book = parts_of(request).book
        return json_answer(await asyncio.to_thread(book.warranty, asked.serial, asked.bought_on, asked.on))
