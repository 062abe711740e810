"""The page ``/station/inspection``: a ball is scanned, its readings come by keyboard or gauge, the verdict forms meanwhile.

Nothing is entered before "Enter all readings"; then all that was typed stands as one inspection.  The verdict that is shown
before is made by the same code as any (`ledger.application.tentative_verdict`) and written nowhere.
"""

from __future__ import annotations

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get, post

from api.guards import account_of
from api.pages import HTML
from api.pages.page import catalogue_of, page, page_text
from api.pages.refusal import see_other
from api.pages.stations.answers import DONE, Records, accepted, new_key, refused, say, with_breaches, with_query
from api.pages.stations.fact_words import fact_words_in
from api.pages.stations.inspection_form import GAUGE, VALUE, inspection_record, readings_typed
from api.pages.stations.inspection_values import (
    Forming,
    Remembered,
    ball_values,
    balls_of,
    forming,
    gauges_now,
    lot_values,
    shown_first,
)
from api.pages.stations.of_station import of_station, typed_in_form, typed_in_query
from api.pages.stations.station_name import station_name
from api.pages.stations.typed import Typed
from api.parts import parts_of
from api.problems import Problem
from ledger.application.at_station import lots_open
from ledger.application.scanning import scanned
from ledger.errors import LedgerError, MalformedInput, NotFound
from ledger.line.quantity import QUANTITIES, UNITS
from ledger.store.answer import Entered
from ledger.store.reader import open_reader

INSPECTION = "/station/inspection"
GAUGES_COOKIE = "pourbook-gauges"
FRAGMENT = "x-fragment"
"""A script that wants the verdict alone says ``x-fragment: 1``."""


class InspectionPages(Controller):
    """The inspection station."""

    path = INSPECTION

    @get(opt=of_station("The inspection station"))
    async def shown(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A ball by its unit or number, a lot's balls, or the scan."""
        typed = typed_in_query(request)
        if typed.text("scan"):
            return await _scanned(request, typed)
        if typed.text("serial"):
            return await _by_serial(request, typed)
        if typed.text("unit"):
            return await _ball_page(request, typed)
        if typed.text("lot"):
            values = await asyncio.to_thread(lot_values, parts_of(request), typed.id("lot"))
            return _page(request, "inspection-lot.html", typed, **values)
        return await _first_page(request, typed)

    @post(status_code=303, opt=of_station("Enter the readings of a ball"))
    async def entered(self, request: Request[Any, Any, Any]) -> Response[Any]:
        """All readings that were typed, as one inspection."""
        return await _entered(request, await typed_in_form(request))

    @post("/verdict", status_code=200, opt=of_station("The verdict as it forms"))
    async def verdict(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """How the ball would come out with what is typed. Nothing is entered."""
        typed = await typed_in_form(request)
        if request.headers.get(FRAGMENT) != "1":
            return await _ball_page(request, typed, judge=True)
        parts, account = parts_of(request), account_of(request)
        formed = await asyncio.to_thread(forming, parts, typed, station_name(request, "inspection"), account)
        text = page_text(request, "stations/inspection-verdict.html", **_verdict_values(formed))
        return Response(content=text.encode(), media_type=HTML, headers={"cache-control": "no-store"})


async def _entered(request: Request[Any, Any, Any], typed: Typed) -> Response[Any]:
    parts = parts_of(request)
    back = with_query(INSPECTION, unit=typed.id("unit"))

    async def make(at: str, _before: Records | None) -> Records:
        readings, wrong = readings_typed(typed, await asyncio.to_thread(gauges_now, parts))
        for error in wrong.values():
            raise error
        if not readings:
            raise MalformedInput("no reading was typed", where="value", mend="type or scan at least one reading")
        return [inspection_record(typed, at, station_name(request, "inspection"), readings)]

    try:
        entered = await say(request, typed.text("key"), typed.instant("at"), make)
    except LedgerError as error:
        return await refused(
            request, error, back=back, again=lambda problem: _ball_page(request, typed, problem=problem, judge=True)
        )
    response = accepted(
        request, said=_said(request, typed, entered), onward=with_query(back, **{DONE: str(entered.index)})
    )
    _remember(request, response, typed)
    return response


def _said(request: Request[Any, Any, Any], typed: Typed, entered: Entered) -> str:
    words = catalogue_of(request)
    count = sum(1 for name, value in typed.pairs() if name.startswith(VALUE) and value.strip())
    said = words.ngettext(
        "%(count)s reading of ball %(ball)s is entered.", "%(count)s readings of ball %(ball)s are entered.", count
    ) % {"count": count, "ball": typed.id("unit")}
    return with_breaches(request, said, entered)


async def _scanned(request: Request[Any, Any, Any], typed: Typed) -> Response[Any]:
    def look() -> str:
        with open_reader(parts_of(request).book.store) as reader:
            one = scanned(reader, typed.text("scan"))
        return with_query(INSPECTION, unit=one.unit) if one.unit else with_query(INSPECTION, lot=one.lot)

    try:
        return see_other(await asyncio.to_thread(look))
    except NotFound as error:
        found = await asyncio.to_thread(balls_of, parts_of(request), typed.text("scan"))
        if len(found) > 1:
            return _page(request, "inspection-which.html", typed, found=found, number=typed.text("scan"))
        return await _refused_scan(request, typed, error)
    except LedgerError as error:
        return await _refused_scan(request, typed, error)


async def _refused_scan(request: Request[Any, Any, Any], typed: Typed, error: LedgerError) -> Response[Any]:
    return await refused(request, error, back=INSPECTION, again=lambda problem: _first_page(request, typed, problem))


async def _by_serial(request: Request[Any, Any, Any], typed: Typed) -> Response[Any]:
    found = await asyncio.to_thread(balls_of, parts_of(request), typed.text("serial"))
    if len(found) == 1:
        return see_other(with_query(INSPECTION, unit=found[0].unit))
    if not found:
        error = NotFound(
            "no ball in the book bears this number", got=typed.text("serial"), where="scan", mend="read it again"
        )
        return await _refused_scan(request, typed, error)
    return _page(request, "inspection-which.html", typed, found=found, number=typed.text("serial"))


async def _first_page(request: Request[Any, Any, Any], typed: Typed, problem: Problem | None = None) -> Response[bytes]:
    def look() -> Any:
        book = parts_of(request).book
        with open_reader(book.store) as reader:
            return lots_open(reader, ("shell",), book.clock_ms())

    open_lots = await asyncio.to_thread(look)
    return _page(request, "inspection-first.html", typed, problem=problem, open_lots=open_lots)


async def _ball_page(
    request: Request[Any, Any, Any], typed: Typed, *, problem: Problem | None = None, judge: bool = False
) -> Response[bytes]:
    parts, account = parts_of(request), account_of(request)
    station = station_name(request, "inspection")

    def look() -> tuple[dict[str, Any], Forming]:
        done = typed.text(DONE) if problem is None and not judge else ""
        values = ball_values(parts, typed.id("unit"), done, account)
        return values, forming(parts, typed, station, account, values["seen"])

    values, formed = await asyncio.to_thread(look)
    wrong = {field: error.problem for field, error in formed.wrong.items()}
    if problem is not None and problem.where.startswith((VALUE, GAUGE)):
        wrong.setdefault(problem.where, problem.detail)
    return _page(
        request,
        "inspection.html",
        typed,
        problem=problem,
        wrong=wrong,
        judge=judge,
        key=new_key(),
        remembered=_remembered(request),
        stage="inspection",
        hand=values["seen"].ball,
        fact_words=fact_words_in(catalogue_of(request)),
        **values,
        **_verdict_values(formed),
    )


def _verdict_values(formed: Forming) -> dict[str, Any]:
    return {"formed": formed, "shown_first": shown_first, "printed": {unit.id: unit.printed for unit in UNITS.values()}}


def _page(
    request: Request[Any, Any, Any], template: str, typed: Typed, *, problem: Problem | None = None, **values: Any
) -> Response[bytes]:
    return page(
        request,
        f"stations/{template}",
        status=problem.status if problem else 200,
        headers={"cache-control": "no-store"},
        typed=typed,
        problem=problem,
        station=station_name(request, "inspection"),
        **{"done": "", **values},
    )


def _remembered(request: Request[Any, Any, Any]) -> Remembered:
    pairs = [pair.partition(":") for pair in request.cookies.get(GAUGES_COOKIE, "").split("|")]
    return Remembered({quantity: gauge for quantity, _, gauge in pairs if quantity in QUANTITIES})


def _remember(request: Request[Any, Any, Any], response: Response[Any], typed: Typed) -> None:
    """Keep in the browser which gauge was chosen for which quantity."""
    chosen = dict(_remembered(request).gauges)
    for quantity in QUANTITIES:
        if typed.id(GAUGE + quantity):
            chosen[quantity] = typed.id(GAUGE + quantity)
    response.set_cookie(
        key=GAUGES_COOKIE,
        value="|".join(f"{quantity}:{gauge}" for quantity, gauge in chosen.items()),
        max_age=365 * 86_400,
        path=INSPECTION,
        samesite="lax",
        httponly=True,
    )
