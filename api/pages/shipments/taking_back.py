"""``/shipment/return``: balls came back. Each is told of as the book has it; what came back is recorded whatever stands against it."""

from __future__ import annotations

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get, post
from msgspec import UNSET

from api.guards import account_of
from api.pages.page import catalogue_of
from api.pages.shipments.sheet import (
    Asked,
    Row,
    all_known,
    asked_in_form,
    asked_in_query,
    enter,
    entered_now,
    known_balls,
    of_shipments,
    sheet_page,
)
from api.pages.stations.acts import base
from api.pages.stations.answers import DONE, Records, now_text
from api.pages.stations.typed import Typed
from api.pages.words import worded
from api.parts import Parts, parts_of
from api.problems import Problem
from ledger.access.roles import MAY_SAY
from ledger.access.tokens import Account
from ledger.application.balls_scanned import against_returns
from ledger.errors import MalformedInput, RuleStands
from ledger.line.shipments import Returned

RETURN = "/shipment/return"
REASONS = ("claim", "recall", "wrong-ball", "damaged-on-the-way", "not-taken", "sample-back", "other")
"""Reasons that are offered (common practice, no source); a note says more."""


class TakingBack(Controller):
    """What came back."""

    path = RETURN

    @get(opt=of_shipments("Record a return"))
    async def shown(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The form; with ``ball`` the list begun."""
        return await _show(request, asked_in_query(request))

    @post("/look", status_code=200, opt=of_shipments("Look at balls that came back"))
    async def looked(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Where the book has each ball. Nothing is entered."""
        return await _show(request, await asked_in_form(request))

    @post(status_code=303, opt=of_shipments("Enter a return"))
    async def entered(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """All balls of the list are back, as one entry."""
        asked = await asked_in_form(request)

        async def make(at: str, before: Records | None) -> Records:
            return await asyncio.to_thread(_records, request, asked, at, before)

        return await enter(request, asked, RETURN, make, lambda problem: _show(request, asked, problem))


def _records(request: Request[Any, Any, Any], asked: Asked, at: str, before: Records | None) -> Records:
    """A return of each ball, with the shipment that it was away in. Raises what stands against it, unless it is all the same so.

    ``before``: as it was entered already; by now the book has no shipment open for these balls.
    """
    parts, typed = parts_of(request), asked.typed
    if typed.text("reason") not in REASONS:
        raise MalformedInput("no reason is chosen", expected=", ".join(REASONS), where="reason", mend="choose one")
    balls = known_balls(parts, asked.scans)
    all_known(balls)
    if before is None and typed.text("anyway") != "yes":
        wrong = next((row for row in _rows(parts, asked, account_of(request)) if row.reasons), None)
        if wrong is not None:
            raise RuleStands(
                wrong.reasons[0].said,
                where="anyway",
                mend="if the ball is here all the same, tick the box that says so: the book then holds it",
            )
    away = {ball.unit: ball.away for ball in balls}
    if before is not None:
        away = {str(record["unit"]): str(record.get("shipment", "")) for record in before}
    return [_record(typed, at, ball.unit, away.get(ball.unit, "")) for ball in balls]


def _record(typed: Typed, at: str, unit: str, shipment: str) -> dict[str, Any]:
    named = {"shipment": shipment} if shipment else {}
    return base(typed, "returned", at, unit=unit, reason=typed.text("reason"), **named)


async def _show(request: Request[Any, Any, Any], asked: Asked, problem: Problem | None = None) -> Response[bytes]:
    parts, account = parts_of(request), account_of(request)
    rows = await asyncio.to_thread(_rows, parts, asked, account)
    back = (
        None if problem is not None else await asyncio.to_thread(entered_now, parts, asked.typed.text(DONE), Returned)
    )
    return sheet_page(
        request,
        "return.html",
        asked,
        rows,
        problem=problem,
        may_say=not MAY_SAY["returned"].isdisjoint(account.roles),
        reason_words=worded(catalogue_of(request), "return reason", REASONS),
        back=back,
    )


def _rows(parts: Parts, asked: Asked, account: Account) -> list[Row]:
    balls = known_balls(parts, asked.scans)
    at = now_text(parts)
    returns = [
        Returned(at=at, unit=ball.unit, reason=REASONS[0], shipment=ball.away or UNSET)
        for ball in balls
        if not ball.problem
    ]
    against = against_returns(parts.book, returns, account) if returns else None
    return [Row(ball, () if against is None else against.balls.get(ball.unit, ())) for ball in balls]
