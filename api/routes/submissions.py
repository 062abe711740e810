"""Saying records, and asking first: the two ways in which a station speaks to the book.

``POST /submissions`` is the path that every registration takes: body bytes go straight into the decoder of records,
the answer waits for its group on the event loop, and goes out as bytes.
"""

import asyncio
import time
from typing import Annotated, Any, Self

import msgspec
from litestar import Controller, Request, Response, post
from litestar.handlers import HTTPRouteHandler
from msgspec import Meta

from api.guards import account_of
from api.links import LabelAddress
from api.operation import Operation, described
from api.parts import Parts, PlainAnswer, json_answer, parts_of, plain_answer
from api.request_body import decode_body, idempotency_key, read_raw
from ledger.application.asking import AskAnswer
from ledger.line.fact import Breach
from ledger.line.submission import MAX_RECORDS, Submission
from ledger.line.vocabulary import AnyRecord
from ledger.store.answer import Entered


class Records(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Records said together: they stand in one entry, all or none."""

    records: Annotated[tuple[AnyRecord, ...], Meta(min_length=1, max_length=MAX_RECORDS)]


class Recorded(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a submission gets back. ``addresses`` and ``breaches`` are parallel to its records.

    ``repeated``: this key had been used for the same records before, and this is that entry.
    """

    entry: int
    recorded_at: str
    addresses: tuple[str, ...]
    breaches: tuple[tuple[Breach, ...], ...]
    receipt: str
    repeated: bool
    labels: tuple[LabelAddress, ...] = ()


class Asked(msgspec.Struct, frozen=True, kw_only=True):
    """One answer a record, each seeing those before it."""

    answers: list[AskAnswer]


class _Route(HTTPRouteHandler):
    """A route that guards are shown as it is: the framework copies the whole route for each guard and request."""

    def __copy__(self) -> Self:
        return self


RECORDS = msgspec.json.Decoder(Records)


class Submissions(Controller):
    """Records in, receipts out."""

    @_Route(
        "/submissions",
        http_method="POST",
        opt=described(
            Operation(
                "Say records together; the answer is their receipt",
                "line",
                action="submit",
                body=Records,
                answer=Recorded,
                keyed=True,
                problems=(409, 422, 503),
                status=201,
            )
        ),
    )
    async def submit(self, request: Request[Any, Any, Any]) -> PlainAnswer:
        """Enter records as one entry. 201, or 200 for a repeated key."""
        began = time.perf_counter()
        parts = parts_of(request)
        key = idempotency_key(request)
        said = decode_body(await read_raw(request), RECORDS)
        submission = Submission(key=key, records=said.records)
        entered = await parts.submit(submission, account_of(request))
        answer = plain_answer(recorded(parts, entered, submission), status=200 if entered.repeated else 201)
        parts.registrations.observe(time.perf_counter() - began)
        return answer

    @post(
        "/ask",
        opt=described(
            Operation(
                "May this be done now? Nothing is entered",
                "line",
                action="ask",
                body=Records,
                answer=Asked,
                problems=(422,),
            )
        ),
    )
    async def ask(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Check records as if they were said now."""
        said = decode_body(await read_raw(request), RECORDS)
        book = parts_of(request).book
        answers = await asyncio.to_thread(book.ask, said.records, account_of(request))
        return json_answer(Asked(answers=answers))


def recorded(parts: Parts, entered: Entered, submission: Submission) -> Recorded:
    """The answer to a submission that stands."""
    return Recorded(
        entry=entered.index,
        recorded_at=entered.recorded_at,
        addresses=entered.addresses,
        breaches=entered.breaches,
        receipt=entered.receipt,
        repeated=entered.repeated,
        labels=parts.links.of(submission.records),
    )
