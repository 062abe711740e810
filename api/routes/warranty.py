"""The warranty desk's question about a number, and the terms that it is answered by.

The answer is a proposal with reasons; a person decides.
"""

import asyncio
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get, post
from msgspec import Meta

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import read_query
from api.routes.adopting import Adopted, adopted
from ledger.application.adopting import TOML_TYPE
from ledger.application.pourbook import Pourbook
from ledger.application.terms_in_force import TermsSeen, terms_adoption, terms_seen
from ledger.line.record import On, Slug
from ledger.store.reader import open_reader
from ledger.warranty.answer import WarrantyAnswer


class WarrantyQuestion(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A number as read off the ball, the days that the term runs by, the market and the failure mode, as far as known."""

    serial: Annotated[str, Meta(min_length=1, max_length=40)]
    bought_on: On | None = None
    on: On | None = None
    market: Slug | None = None
    mode: Slug | None = None


class TermsQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The day (UTC) of which the terms are asked for; today when left out."""

    on: On | None = None


class Warranty(Controller):
    """Questions of the desk."""

    path = "/warranty"

    @get(
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
        ask = parts_of(request).book.warranty
        wanted = asked.serial, asked.bought_on, asked.on, asked.market or "", asked.mode
        return json_answer(await asyncio.to_thread(ask, *wanted))

    @get(
        "/terms",
        opt=described(
            Operation(
                "The warranty terms in force on a day, and which they are",
                "warranty",
                action="warranty",
                query=TermsQuery,
                answer=TermsSeen,
            )
        ),
    )
    async def terms(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The plant's own, or the service's defaults."""
        asked = read_query(request, TermsQuery)
        return json_answer(await asyncio.to_thread(_terms, parts_of(request).book, asked.on))

    @post(
        "/terms",
        # The reader's own limit counts, as for rulebooks.
        request_max_body_size=None,
        opt=described(
            Operation(
                "Adopt the plant's warranty terms; a file that is wrong is refused with its line or key",
                "warranty",
                action="adopt",
                takes=TOML_TYPE,
                answer=Adopted,
                keyed=True,
                problems=(409, 422, 503),
                status=201,
            )
        ),
    )
    async def adopt(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """One TOML file. 201, or 200 where it is in force already or the key was used for it."""
        return await adopted(request, terms_adoption)


def _terms(book: Pourbook, on: str | None) -> TermsSeen:
    with open_reader(book.store) as reader:
        return terms_seen(reader, on, book.clock_ms())
