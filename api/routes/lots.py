"""Lots: one lot, back to the drum, down to every ball; and where a traveller's code leads."""

import asyncio
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath
from msgspec import Meta

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import read_query
from ledger.application.lot_conformity import LotConformity, lot_conformity
from ledger.application.lot_view import Above, Below, LotView, lot_below


class ByRulebook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which edition judges: its id, or its digest."""

    rulebook: Annotated[str, Meta(min_length=1, max_length=100)]


class Lots(Controller):
    """Questions about a lot."""

    path = "/lots/{lot:str}"

    @get(
        opt=described(
            Operation(
                "One lot: account, steps, history, holds",
                "look up",
                action="look-up",
                answer=LotView,
                problems=(404,),
                may_lag=True,
            )
        )
    )
    async def show(self, request: Request[Any, Any, Any], lot: FromPath[str]) -> Response[bytes]:
        """One lot."""
        return json_answer(await asyncio.to_thread(parts_of(request).book.lot, lot))

    @get(
        "/conformity",
        opt=described(
            Operation(
                "A lot judged: means of its balls, its components, and what was tested once for its model",
                "quality",
                action="conformity",
                query=ByRulebook,
                answer=LotConformity,
                problems=(404,),
                may_lag=True,
            )
        ),
    )
    async def conformity(self, request: Request[Any, Any, Any], lot: FromPath[str]) -> Response[bytes]:
        """Verdicts of one lot."""
        asked = read_query(request, ByRulebook)
        return json_answer(await parts_of(request).long_answer(lot_conformity, lot, asked.rulebook))

    @get(
        "/above",
        opt=described(
            Operation(
                "Every lot above, certain or possible",
                "look up",
                action="look-up",
                answer=Above,
                problems=(404,),
                may_lag=True,
            )
        ),
    )
    async def above(self, request: Request[Any, Any, Any], lot: FromPath[str]) -> Response[bytes]:
        """Back to the drum."""
        return json_answer(await asyncio.to_thread(parts_of(request).book.above, lot))

    @get(
        "/below",
        opt=described(
            Operation(
                "Every lot and ball below, certain or possible",
                "look up",
                action="look-up",
                answer=Below,
                problems=(404,),
                may_lag=True,
            )
        ),
    )
    async def below(self, request: Request[Any, Any, Any], lot: FromPath[str]) -> Response[bytes]:
        """Down to every ball."""
        parts = parts_of(request)
        if parts.long_reads.is_free:
            return json_answer(await parts.long_answer(lot_below, lot))
        # What else is affected must not wait for a dossier.
        return json_answer(await parts.long_read(parts.book.below, lot))
