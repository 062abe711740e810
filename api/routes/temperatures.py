"""Temperature logs of racks: a CSV in, its summary and what it breaches out; and the points of those that are stored."""

from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath
from msgspec import Meta

from api.guards import account_of
from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import idempotency_key, read_bytes, read_query
from api.routes.submissions import Recorded
from ledger.application.temperature_logs import CSV, LogAsked, TemperatureLogs
from ledger.errors import MalformedInput
from ledger.line.process_plan import Stage
from ledger.line.temperature_summary import Summary


class LogOf(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which stage a log is of. ``gap_s``: the longest time between two readings that is no gap.

    Without it the plan's is taken, and 900 s where it has none.
    """

    stage: Stage
    gap_s: Annotated[int, Meta(ge=1, le=86_400)] | None = None


class LogsOf(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One stage, or every one."""

    stage: Stage | None = None


class LogRecorded(Recorded, frozen=True, kw_only=True, omit_defaults=True):
    """What a log gets back: as for any submission, and what was said of it."""

    digest: str
    summary: Summary


class Temperatures(Controller):
    """What a rack's logger read."""

    path = "/lots/{lot:str}/temperature-log"

    @post(
        # The limit is a setting of the service, and kept while the body comes in.
        request_max_body_size=None,
        opt=described(
            Operation(
                "Store a rack's temperature log (CSV) and enter its summary, with what the plan's window breaches",
                "line",
                action="log-temperature",
                takes=CSV,
                query=LogOf,
                answer=LogRecorded,
                keyed=True,
                problems=(409, 422, 503),
                status=201,
            )
        ),
    )
    async def sent(self, request: Request[Any, Any, Any], lot: FromPath[str]) -> Response[bytes]:
        """A CSV of instant and temperature; a line that cannot be read is named, and then nothing is entered."""
        parts, key = parts_of(request), idempotency_key(request)
        of = read_query(request, LogOf)
        media_type = request.headers.get("content-type", "").split(";", 1)[0].strip().lower()
        if media_type != CSV:
            raise MalformedInput(
                "log is of another type", expected=CSV, got=media_type, where="Content-Type", mend="send the log as CSV"
            )
        raw = await read_bytes(request, parts.settings.temperature_log_limit)
        asked = LogAsked(lot, of.stage, raw, of.gap_s)
        record, waiting = await parts.long_read(parts.book.log_temperature, asked, key, account_of(request))
        entered = await parts.entered(waiting)
        answer = LogRecorded(
            entry=entered.index,
            recorded_at=entered.recorded_at,
            addresses=entered.addresses,
            breaches=entered.breaches,
            receipt=entered.receipt,
            repeated=entered.repeated,
            digest=record.digest,
            summary=record.summary,
        )
        return json_answer(answer, status=200 if entered.repeated else 201)

    @get(
        opt=described(
            Operation(
                "What the temperature logs of a lot say, with points for a picture",
                "look up",
                action="look-up",
                query=LogsOf,
                answer=TemperatureLogs,
                problems=(404,),
            )
        )
    )
    async def show(self, request: Request[Any, Any, Any], lot: FromPath[str]) -> Response[bytes]:
        """The standing logs of a lot."""
        parts, asked = parts_of(request), read_query(request, LogsOf)
        return json_answer(await parts.long_read(parts.book.temperature_logs, lot, asked.stage))
