"""A ball by its number, its unit, or the address that its label holds."""

from __future__ import annotations

import asyncio
from typing import Any, NamedTuple
from urllib.parse import quote

from litestar import Controller, Request, Response, get

from api.guards import may_do
from api.operation import Operation, described
from api.pages import HTML
from api.pages.desk.forms import Fault, fault_of
from api.pages.page import page
from api.pages.refusal import see_other
from api.parts import parts_of
from api.standby import check_newest
from ledger.application.ball_view import BallFound, find_units
from ledger.conformity.from_rows import day_of
from ledger.errors import LedgerError, MalformedInput
from ledger.line.gs1 import parse_link
from ledger.line.rows import Lot, Unit
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader

LONGEST = 2_000


class Sought(NamedTuple):
    """What a number may mean. ``lot``: a traveller was scanned."""

    balls: tuple[BallFound, ...] = ()
    lot: str = ""


class BallSearch(Controller):
    """Where one begins with a ball in the hand."""

    path = "/ball"

    @get(opt=described(Operation("Find a ball", "pages", action="look-up", media=HTML, page=True, may_lag=True)))
    async def find(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """One field; the one ball that it means, or all that it may."""
        typed = request.query_params.get("q", "").strip()
        fault: Fault | None = None
        sought, unread = Sought(), "?" in typed and not _is_address(typed)
        if typed and not unread:
            try:
                sought = await asyncio.to_thread(_sought, parts_of(request).book.store, typed)
            except LedgerError as error:
                fault = fault_of(request, error, {"": "q", "address": "q", "serial": "q"})
            else:
                check_newest(found=bool(sought.balls or sought.lot))
        if sought.lot:
            return see_other(f"/lot/{quote(sought.lot)}")
        if len(sought.balls) == 1 and "all" not in request.query_params:
            return see_other(f"/ball/{quote(sought.balls[0].unit)}")
        return page(
            request,
            "ball/search.html",
            status=200 if fault is None else fault.problem.status,
            typed=typed[:LONGEST],
            unread=unread,
            balls=sought.balls,
            fault=fault,
            see_desk=may_do(request, "claims"),
        )


def _is_address(typed: str) -> bool:
    return typed.lower().startswith(("http://", "https://"))


def _sought(store: Store, typed: str) -> Sought:
    if len(typed) > LONGEST:
        raise MalformedInput("number is too long", expected=f"at most {LONGEST} characters", where="q")
    serial = typed
    if _is_address(typed):
        link = parse_link(typed)
        if link.serial is None:
            return Sought(lot=link.lot or "")
        serial = link.serial
    with open_reader(store) as reader:
        balls = find_units(reader, serial)
        named = [] if _is_address(typed) else _named(reader, typed.upper(), {ball.unit for ball in balls})
        if not balls and not named and reader.one(Lot, typed.upper()) is not None:
            return Sought(lot=typed.upper())
    return Sought((*balls, *named))


def _named(reader: Reader, unit: str, found: set[str]) -> list[BallFound]:
    """The ball of that unit id, if it was not found by its number."""
    row = reader.one(Unit, unit) if unit.isascii() and unit not in found else None
    lot = None if row is None else reader.one(Lot, row.lot)
    if row is None or lot is None:
        return []
    return [
        BallFound(
            unit=row.unit,
            serial=row.serial,
            model=lot.model,
            weight_class_lb=row.weight_class,
            made_on=day_of(row.engraved_ms or row.began_ms).isoformat(),
            state=row.state,
            bears_it_now=row.serial is not None,
        )
    ]
