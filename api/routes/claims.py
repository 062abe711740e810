"""Warranty claims: the list, one claim whole, its answer, and the letter to the claimant.

What happens to a claim is said as records (POST /submissions); only the letter is made here.
"""

import asyncio
from typing import Annotated, Any, Literal

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath
from msgspec import Meta

from api.guards import account_of
from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import idempotency_key, read_body, read_query
from ledger.application.claim_letters import LetterAsked, Written, send_letter
from ledger.application.claim_list import Claims, ClaimsAsked, claims_list
from ledger.application.claim_people import ClaimPeople, claim_people
from ledger.application.claim_view import ClaimView, claim_view
from ledger.application.pourbook import Pourbook
from ledger.application.warranty_desk import ClaimAnswer, claim_answer
from ledger.line.record import Id, On, Slug
from ledger.store.reader import open_reader
from ledger.warranty.claim_letter import CAUTION, Language

ClaimState = Literal["undecided", "open", "examined", "waiting", "sent-back", "accept", "reject", "goodwill"]


class ClaimsQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which claims. ``state``: one of a claim's, or ``undecided``; ``since``: opened on this day or later (UTC); ``after``:
    the claim that the page before ended with.
    """

    state: ClaimState | None = None
    overdue: bool = False
    mode: Slug | None = None
    model: Id | None = None
    market: Slug | None = None
    since: On | None = None
    after: Id | None = None
    limit: Annotated[int, Meta(ge=1, le=1000)] = 100


class LetterWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A letter. ``to``: the lines of the address; left out, the claimant as the claim has him."""

    to: Annotated[tuple[Annotated[str, Meta(min_length=1, max_length=100)], ...], Meta(max_length=8)] = ()
    language: Language = "en"


class LetterSent(msgspec.Struct, frozen=True, kw_only=True):
    """A letter that is stored and entered: the digest by which its PDF is read (GET /blobs), the entry and its receipt.

    ``repeated``: this key had been used for it; ``caution``: about its wording.
    """

    claim: str
    letter: str
    entry: int
    fact: str
    recorded_at: str
    receipt: str
    repeated: bool
    caution: str = CAUTION


_LETTER = msgspec.json.Decoder(LetterWanted)


class ClaimRoutes(Controller):
    """The desk's claims."""

    path = "/claims"

    @get(
        opt=described(
            Operation(
                "Claims by state, overdue, failure mode, model, market and day, a page at a time",
                "warranty",
                action="claims",
                query=ClaimsQuery,
                answer=Claims,
                problems=(404,),
            )
        ),
    )
    async def claims(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Oldest first; ``after`` of the answer asks for the next page."""
        asked = read_query(request, ClaimsQuery)
        parts = parts_of(request)
        wanted = ClaimsAsked(**msgspec.structs.asdict(asked))
        return json_answer(await parts.long_read(_claims, parts.book, wanted))

    @get(
        "/{claim:str}",
        opt=described(Operation("One claim whole", "warranty", action="claims", answer=ClaimView, problems=(404,))),
    )
    async def claim(self, request: Request[Any, Any, Any], claim: FromPath[str]) -> Response[bytes]:
        """Facts in order, the ball or the candidates, links, files, what is due, and what may be done next."""
        return json_answer(await asyncio.to_thread(_claim, parts_of(request).book, claim))

    @get(
        "/{claim:str}/people",
        opt=described(
            Operation(
                "Who claims, how to reach him, and the notes, as far as they are kept",
                "warranty",
                action="warranty",
                answer=ClaimPeople,
                problems=(404,),
            )
        ),
    )
    async def people(self, request: Request[Any, Any, Any], claim: FromPath[str]) -> Response[bytes]:
        """Each field with the path that an erasure names; nothing of it where it was erased."""
        return json_answer(await asyncio.to_thread(_people, parts_of(request).book, claim))

    @get(
        "/{claim:str}/answer",
        opt=described(
            Operation(
                "What the facts of a claim say and speak for: a proposal, a person decides",
                "warranty",
                action="warranty",
                answer=ClaimAnswer,
                problems=(404,),
            )
        ),
    )
    async def answer(self, request: Request[Any, Any, Any], claim: FromPath[str]) -> Response[bytes]:
        """Each reason with the facts that show it, and what every decision would still need."""
        return json_answer(await asyncio.to_thread(_answer, parts_of(request).book, claim))

    @post(
        "/{claim:str}/letter",
        opt=described(
            Operation(
                "Write the letter of a claim that is decided or waits, store it, and say so",
                "warranty",
                action="warranty",
                body=LetterWanted,
                answer=LetterSent,
                keyed=True,
                problems=(404, 409, 422, 503),
                status=201,
            )
        ),
    )
    async def letter(self, request: Request[Any, Any, Any], claim: FromPath[str]) -> Response[bytes]:
        """201, or 200 with the same entry where the key was used for this letter."""
        key = idempotency_key(request)
        wanted = await read_body(request, _LETTER)
        book, account = parts_of(request).book, account_of(request)
        asked = LetterAsked(claim, wanted.to, wanted.language)
        written: Written = await asyncio.to_thread(send_letter, book, asked, key, account)
        entered = await parts_of(request).entered(written.entered)
        sent = LetterSent(
            claim=claim,
            letter=written.letter,
            entry=entered.index,
            fact=entered.addresses[0],
            recorded_at=entered.recorded_at,
            receipt=entered.receipt,
            repeated=entered.repeated,
        )
        return json_answer(sent, status=200 if entered.repeated else 201)


def _claims(book: Pourbook, asked: ClaimsAsked) -> Claims:
    with open_reader(book.store) as reader:
        return claims_list(reader, asked, book.clock_ms())


def _claim(book: Pourbook, claim: str) -> ClaimView:
    with open_reader(book.store) as reader:
        return claim_view(reader, claim, book.clock_ms())


def _people(book: Pourbook, claim: str) -> ClaimPeople:
    with open_reader(book.store) as reader:
        return claim_people(reader, claim)


def _answer(book: Pourbook, claim: str) -> ClaimAnswer:
    with open_reader(book.store) as reader:
        return claim_answer(reader, claim)
