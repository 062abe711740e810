"""Conformity of a selection of balls against a rulebook."""

import datetime as dt
from typing import Annotated, Any, Literal

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.response import Stream
from msgspec import Meta

from api.operation import Operation, described
from api.parts import Parts, json_answer, parts_of
from api.request_body import read_body, read_query
from api.sent_file import sent_file
from ledger.application.conformity_query import LISTED, Conformity, conformity_of
from ledger.application.conformity_table import write_table
from ledger.errors import MalformedInput
from ledger.line.record import Id, On, Slug
from ledger.store.selections import Selection

DAY_MS = 86_400_000

MEDIA_TYPES = {"csv": "text/csv; charset=utf-8; header=present", "parquet": "application/vnd.apache.parquet"}


class BallsToJudge(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which balls, against which rulebook: every condition that is given must hold.

    ``from_on`` and ``to_on`` are UTC days of engraving, both inclusive. ``listed`` balls come with their verdicts, from
    the one after ``after`` (a unit id) on.
    """

    rulebook: Slug
    model: Id | None = None
    lot: Id | None = None
    unit: Id | None = None
    serial: Annotated[str, Meta(min_length=1, max_length=20)] | None = None
    state: Slug | None = None
    from_on: On | None = None
    to_on: On | None = None
    listed: Annotated[int, Meta(ge=0, le=LISTED)] = 0
    after: Id | None = None


class BallsInTable(BallsToJudge, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which balls, against which rulebook, in which form; ``listed`` says nothing here."""

    form: Literal["csv", "parquet"] = "csv"


TO_JUDGE = msgspec.json.Decoder(BallsToJudge)
_PROBLEMS = (404, 413)


class ConformityRoutes(Controller):
    """Verdicts of one ball or of many."""

    @get(
        "/conformity",
        opt=described(
            Operation(
                "Verdicts of a selection of balls",
                "quality",
                action="conformity",
                query=BallsToJudge,
                answer=Conformity,
                problems=_PROBLEMS,
                may_lag=True,
            )
        ),
    )
    async def by_query(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Judge the balls that the query selects."""
        return await _judge(parts_of(request), read_query(request, BallsToJudge))

    @post(
        "/conformity",
        status_code=200,
        opt=described(
            Operation(
                "Verdicts of a selection of balls, the selection as a body",
                "quality",
                action="conformity",
                body=BallsToJudge,
                answer=Conformity,
                problems=_PROBLEMS,
                may_lag=True,
            )
        ),
    )
    async def by_body(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Judge the balls that the body selects."""
        return await _judge(parts_of(request), await read_body(request, TO_JUDGE))

    @get(
        "/conformity/table",
        opt=described(
            Operation(
                "Verdicts of a selection of balls as a table, one line a ball",
                "quality",
                action="conformity",
                query=BallsInTable,
                media=MEDIA_TYPES["csv"],
                problems=_PROBLEMS,
                may_lag=True,
            )
        ),
    )
    async def table(self, request: Request[Any, Any, Any]) -> Stream:
        """Judge the balls that the query selects, and send a file."""
        asked, parts = read_query(request, BallsInTable), parts_of(request)
        headers = {"content-disposition": f'attachment; filename="conformity.{asked.form}"'}
        return await sent_file(
            lambda out: parts.long_reads.written(
                out, write_table, selection_of(asked), asked.rulebook, form=asked.form
            ),
            MEDIA_TYPES[asked.form],
            headers,
        )


async def _judge(parts: Parts, asked: BallsToJudge) -> Response[bytes]:
    selection = selection_of(asked)
    if asked.unit is not None or asked.serial is not None:
        book = parts.book
        return json_answer(await parts.long_read(book.conformity, selection, asked.rulebook, listed=asked.listed))
    return json_answer(await parts.long_answer(conformity_of, selection, asked.rulebook, listed=asked.listed))


def selection_of(asked: BallsToJudge) -> Selection:
    """The selection that a query or a body states. Raises MalformedInput."""
    return Selection(
        model=asked.model,
        lot=asked.lot,
        unit=asked.unit,
        serial=asked.serial,
        state=asked.state,
        from_ms=day_ms(asked.from_on, "from_on"),
        to_ms=None if asked.to_on is None else (day_ms(asked.to_on, "to_on") or 0) + DAY_MS - 1,
        after=asked.after,
    )


def day_ms(on: str | None, where: str) -> int | None:
    """The first millisecond of a UTC day. Raises MalformedInput for a day that no calendar has."""
    if on is None:
        return None
    try:
        day = dt.date.fromisoformat(on)
    except ValueError as error:
        raise MalformedInput("no such day", got=on, where=where, mend="send a date that exists") from error
    return (day - dt.date(1970, 1, 1)).days * DAY_MS
