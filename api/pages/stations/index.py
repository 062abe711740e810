"""``/station``: which station this is. A scan leads to the page where the lot is worked on next.

An enrolled device that stands at a stage goes straight to its page; ``?choose=1`` shows all of them there too.
"""

from __future__ import annotations

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get, post

from api.pages.page import page
from api.pages.refusal import see_other
from api.pages.session import session_at
from api.pages.stations.of_station import of_station
from api.pages.stations.stage_page import address_for, look_up
from api.pages.stations.station_name import STATION_COOKIE, as_id, station_name
from api.parts import parts_of
from api.problems import Problem, problem_of, status_of
from ledger.application.devices import STAGES
from ledger.errors import LedgerError

POSTS = ("mixing", *STAGES)
"""Every station page, in the order in which a ball passes them."""

_YEAR_S = 365 * 86_400


class StationIndex(Controller):
    """Where somebody at the line begins."""

    path = "/station"

    @get(opt=of_station("The stations"))
    async def shown(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The stations to choose from, or the way to the one that is meant."""
        session = session_at(request)
        device = None if session is None else session.device
        scan = request.query_params.get("scan", "").strip()
        if scan:
            try:
                one, steps = await asyncio.to_thread(look_up, parts_of(request), scan)
            except LedgerError as error:
                if status_of(error) >= 500:
                    raise
                return _page(request, scan, problem_of(error, "/station").problem)
            return see_other(address_for(one, steps))
        if device is not None and device.stage in POSTS and not request.query_params.get("choose"):
            return see_other(f"/station/{device.stage}")
        return _page(request, "", None)

    @post("/name", status_code=303, opt=of_station("Name this station"))
    async def named(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The id by which records name this station, kept in this browser; empty: after its device or stage again."""
        named = as_id(str((await request.form()).get("station", "")))
        answer = see_other("/station?choose=1")
        answer.set_cookie(
            key=STATION_COOKIE,
            value=named,
            max_age=_YEAR_S if named else 0,
            path="/station",
            samesite="lax",
            httponly=True,
        )
        return answer


def _page(request: Request[Any, Any, Any], scan: str, problem: Problem | None) -> Response[bytes]:
    return page(
        request,
        "stations/index.html",
        status=problem.status if problem else 200,
        headers={"cache-control": "no-store"},
        posts=POSTS,
        scan=scan,
        problem=problem,
        station=station_name(request, ""),
    )
