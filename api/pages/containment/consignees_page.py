"""The register of consignees, and what one has now by the book."""

import asyncio
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath

from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Form, read_form
from api.pages.desk.forms import (
    Fault,
    Typed,
    fault_of,
    fresh_key,
    key_of,
    may_say,
    note_in,
    now_text,
    record_of,
    say,
    typed_in,
)
from api.pages.page import page
from api.pages.refusal import see_other
from api.parts import Parts, parts_of
from ledger.application.consignees import ConsigneeSeen, ConsigneeView, consignee_seen, consignee_view
from ledger.errors import LedgerError, NotFound
from ledger.line.case_rows import Consignee
from ledger.line.consignees import ConsigneeRegistered
from ledger.store.reader import open_reader
from ledger.store.selections import every_row

FIELDS = ("consignee", "name", "market", "address", "language")
SHOWN = 200
"""Balls of one consignee that its page shows; the rest is for the list of a case."""


class ConsigneePages(Controller):
    """Who balls are sent to."""

    path = "/containment"

    @get("/consignees", opt=described(Operation("Consignees", "pages", action="cases", media=HTML, page=True)))
    async def consignees(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The register, and the form of a new one."""
        return await _page(request)

    @post(
        "/consignees",
        status_code=303,
        opt=described(Operation("Register a consignee", "pages", action="case-answers", media=HTML, page=True)),
    )
    async def registered(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A new one, or the same id with other words."""
        form = await read_form(request)
        typed = typed_in(form, FIELDS)
        said = {**typed, "consignee": typed["consignee"].upper(), "market": typed["market"].lower()}
        try:
            entered = await say(
                request, key_of(form), record_of(ConsigneeRegistered, {**said, "at": now_text(request)})
            )
        except LedgerError as error:
            return await _page(request, form=form, typed=typed, fault=fault_of(request, error))
        return see_other(f"/containment/consignee/{said['consignee']}?note={'registered' if entered else 'again'}")

    @get(
        "/consignee/{consignee:str}",
        opt=described(Operation("A consignee", "pages", action="cases", media=HTML, page=True)),
    )
    async def consignee(self, request: Request[Any, Any, Any], consignee: FromPath[str]) -> Response[bytes]:
        """Name and address; with ``part`` or ``whole`` the balls that are away with it."""
        parts, asked = parts_of(request), request.query_params
        seen = None
        if "part" in asked or "whole" in asked:
            seen = msgspec.json.decode(await parts.long_answer(consignee_view, consignee), type=ConsigneeView)
        if "part" in asked:
            return page(request, "containment/consignee-balls.html", seen=seen, most=SHOWN)
        rows = await asyncio.to_thread(_register, parts)
        known = next((row for row in rows if row.consignee == consignee), None)
        if known is None:
            raise NotFound(
                f"consignee {consignee} is not in the register", where="consignee", mend="register it, or check the id"
            )
        typed = Typed({"consignee": known.consignee, "name": known.name, "market": known.market})
        typed |= {"address": "\n".join(known.address), "language": known.language}
        return page(
            request,
            "containment/consignee.html",
            known=known,
            seen=seen,
            most=SHOWN,
            note=note_in(request, {"registered": ""}, ()),
            typed=Typed(typed),
            key=fresh_key(),
            may_register=may_say(request, "consignee-registered"),
            fault=None,
        )


async def _page(
    request: Request[Any, Any, Any],
    *,
    form: Form | None = None,
    typed: Typed | None = None,
    fault: Fault | None = None,
) -> Response[bytes]:
    rows = await asyncio.to_thread(_register, parts_of(request))
    return page(
        request,
        "containment/consignees.html",
        status=200 if fault is None else fault.problem.status,
        rows=rows,
        typed=typed or Typed(),
        fault=fault,
        key=fresh_key() if form is None else form.text("key"),
        may_register=may_say(request, "consignee-registered"),
    )


def _register(parts: Parts) -> list[ConsigneeSeen]:
    with open_reader(parts.book.store) as reader:
        return [consignee_seen(reader, row, 0) for row in every_row(reader.transaction, Consignee)]
