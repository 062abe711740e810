"""Which ball is it: by a half-worn number, a scanned label, a former number, a prefix, a range."""

import asyncio
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get
from msgspec import Meta

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import read_query
from api.standby import check_newest
from ledger.application.finding import LISTED, Asked, FoundBalls, find_balls, is_quick
from ledger.line.moulding import WeightClass
from ledger.line.record import Id, On
from ledger.store.engine import Store
from ledger.store.reader import open_reader

Typed = Annotated[str, Meta(max_length=60)]


class BallToFind(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is known of a ball: ``serial``, ``prefix``, or ``first`` and ``last``; the rest narrows it.

    ``serial``: as read, with ``?`` for each place that cannot be read, or the whole address that a label's code holds.
    ``made_from`` and ``made_to`` are UTC days of manufacture, both inclusive.  ``alike``: false takes no character for a
    look-alike.  ``listed``: how many balls come with what tells them apart.
    """

    serial: Annotated[str, Meta(max_length=2_000)] = ""
    prefix: Typed = ""
    first: Typed = ""
    last: Typed = ""
    model: Id | None = None
    weight_class: WeightClass | None = None
    made_from: On | None = None
    made_to: On | None = None
    alike: bool = True
    listed: Annotated[int, Meta(ge=1, le=LISTED)] = 20


class FindRoutes(Controller):
    """Balls by what is known of their number."""

    @get(
        "/find",
        opt=described(
            Operation(
                "Find a ball by a number that is half worn, scanned or former, or by where the number lies",
                "warranty",
                action="look-up",
                query=BallToFind,
                answer=FoundBalls,
                problems=(413,),
                may_lag=True,
            )
        ),
    )
    async def find(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Every ball that it may be, likeliest first, each with what tells it apart."""
        asked = msgspec.convert(msgspec.structs.asdict(read_query(request, BallToFind)), Asked)
        parts = parts_of(request)
        if is_quick(asked):
            found = await asyncio.to_thread(_find, parts.book.store, asked)
            check_newest(found=bool(found.count or found.allotted))
            return json_answer(found)
        return json_answer(await parts.long_answer(find_balls, asked))


def _find(store: Store, asked: Asked) -> FoundBalls:
    with open_reader(store) as reader:
        return find_balls(reader, asked)
