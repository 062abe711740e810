"""``/shipment``: balls leave. They are scanned one to a line; the page says of each whether it may, then all leave as one entry."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Any, get_args

from litestar import Controller, Request, Response, get, post

from api.guards import account_of, may_do
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
    without_misfits,
)
from api.pages.stations.acts import base
from api.pages.stations.answers import DONE, Records, now_text
from api.pages.words import worded
from api.parts import Parts, parts_of
from api.problems import Problem
from ledger.access.roles import MAY_SAY
from ledger.access.tokens import Account
from ledger.application.balls_scanned import Against, against_shipment
from ledger.application.consignees import consignee_seen
from ledger.line.case_rows import Consignee
from ledger.line.shipments import Purpose, Shipment
from ledger.store.reader import open_reader
from ledger.store.selections import every_row

SHIPMENT = "/shipment"
PURPOSES: tuple[Purpose, ...] = get_args(Purpose)

_UNNAMED = "NOT-NAMED-YET"
"""The shipment and its consignee that a list is looked at with before the form says it: what may leave does not depend on it."""


class Sending(Controller):
    """What leaves."""

    path = SHIPMENT

    @get(opt=of_shipments("Record a shipment"))
    async def shown(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The form; with ``ball`` the list begun."""
        return await _show(request, asked_in_query(request))

    @post("/look", status_code=200, opt=of_shipments("Look at the balls of a shipment"))
    async def looked(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """What stands against each ball. Nothing is entered."""
        asked = await asked_in_form(request)
        if asked.typed.text("drop") == "yes":
            asked = without_misfits(
                asked, await asyncio.to_thread(_rows, parts_of(request), asked, account_of(request))
            )
        return await _show(request, asked)

    @post(status_code=303, opt=of_shipments("Enter a shipment"))
    async def entered(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """All balls of the list leave, or none."""
        asked = await asked_in_form(request)

        async def make(at: str, _before: Records | None) -> Records:
            balls = await asyncio.to_thread(known_balls, parts_of(request), asked.scans)
            return [_record(asked, all_known(balls), at)]

        return await enter(request, asked, SHIPMENT, make, lambda problem: _show(request, asked, problem))


def _record(asked: Asked, units: Sequence[str], at: str) -> dict[str, Any]:
    typed = asked.typed
    whom = {"to": typed.id("to")} if typed.text("to") else {"consignee": typed.text("consignee")}
    if typed.text("to") and typed.text("consignee"):
        # Said both ways, it is for the book to refuse.
        whom["consignee"] = typed.text("consignee")
    said = {"shipment": typed.id("shipment"), "purpose": typed.text("purpose"), **whom}
    return base(typed, "shipment", at, units=list(units), **{name: value for name, value in said.items() if value})


async def _show(request: Request[Any, Any, Any], asked: Asked, problem: Problem | None = None) -> Response[bytes]:
    parts, account = parts_of(request), account_of(request)
    may_say = not MAY_SAY["shipment"].isdisjoint(account.roles)
    rows = await asyncio.to_thread(_rows, parts, asked, account)
    sent = (
        None if problem is not None else await asyncio.to_thread(entered_now, parts, asked.typed.text(DONE), Shipment)
    )
    sees_names = may_do(request, "cases")
    return sheet_page(
        request,
        "send.html",
        asked,
        rows,
        problem=problem,
        may_say=may_say,
        purpose_words=worded(catalogue_of(request), "purpose", PURPOSES),
        consignees=await asyncio.to_thread(_consignees, parts, names=sees_names),
        sent=sent,
    )


def _rows(parts: Parts, asked: Asked, account: Account) -> list[Row]:
    balls = known_balls(parts, asked.scans)
    against = _against(parts, asked, [ball.unit for ball in balls if not ball.problem], account)
    return [Row(ball, against.balls.get(ball.unit, ())) for ball in balls]


def _against(parts: Parts, asked: Asked, units: Sequence[str], account: Account) -> Against:
    if not units:
        return Against(balls={})
    said = asked.typed.text("purpose")
    purpose = next((one for one in PURPOSES if one == said), PURPOSES[0])
    looked_at = Shipment(at=now_text(parts), shipment=_UNNAMED, consignee=_UNNAMED, units=tuple(units), purpose=purpose)
    return against_shipment(parts.book, looked_at, account)


def _consignees(parts: Parts, *, names: bool) -> list[tuple[str, str]]:
    """The register by id; ``names``: for who may know them."""
    with open_reader(parts.book.store) as reader:
        rows: list[Consignee] = every_row(reader.transaction, Consignee)
        if not names:
            return [(row.consignee, row.consignee) for row in rows]
        return [(row.consignee, f"{consignee_seen(reader, row, 0).name} ({row.consignee})") for row in rows]
