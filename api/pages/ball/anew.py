"""``/ball/{unit}/anew``: another number takes the place of the one that a ball bears; both stay findable.

A number is taken first, so that it is allotted before anybody engraves it; it is read back from the ball before it is
entered, as at the engraving station.
"""

from __future__ import annotations

import asyncio
import secrets
from typing import Any, NamedTuple
from urllib.parse import quote

from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.ball.acts import done_address
from api.pages.page import catalogue_of, page
from api.pages.refusal import see_other
from api.pages.stations.acts import base
from api.pages.stations.answers import Records, field_of, new_key, now_text, say, with_query
from api.pages.stations.engraving import check_read_back
from api.pages.stations.of_station import typed_in_form, typed_in_query
from api.pages.stations.read_back import read_serial
from api.pages.stations.station_name import as_id, station_name
from api.pages.stations.typed import Typed
from api.pages.words import worded
from api.parts import Parts, parts_of
from api.problems import Problem, problem_of, status_of
from ledger.application.ball_view import selected_ball
from ledger.errors import Contradiction, LedgerError
from ledger.line.rows import Allotment, Model, SerialRow, Unit
from ledger.store.reader import open_reader

REASONS = ("slipped", "worn", "wrong-number", "cannot-be-read", "other")
"""Reasons that are offered (common practice, no source); a note says more."""


def _described(summary: str) -> dict[str, Any]:
    return described(Operation(summary, "pages", action="register", media=HTML, page=True))


class Known(NamedTuple):
    """The ball, what it is, and the number that is taken for it: empty where none is, or it is on a ball already."""

    ball: Unit
    model: str
    number: str


class EngravingAnew(Controller):
    """A ball engraved anew."""

    path = "/ball/{unit:str}/anew"

    @get(opt=_described("Engrave another number on a ball"))
    async def shown(self, request: Request[Any, Any, Any], unit: FromPath[str]) -> Response[bytes]:
        """What it bears, and the number that is taken for it."""
        return await _show(request, unit, typed_in_query(request))

    @post("/number", status_code=303, opt=_described("Take another number for a ball"))
    async def number(self, request: Request[Any, Any, Any], unit: FromPath[str]) -> Response[bytes]:
        """One number of the own scheme; the same form gives the same."""
        typed = await typed_in_form(request)
        book, station = parts_of(request).book, _station(request, typed)
        try:
            allotted = await asyncio.to_thread(
                book.allot_serials, station, 1, typed.text("key") or secrets.token_hex(16), account_of(request)
            )
        except LedgerError as error:
            return await _refused(request, unit, typed, error)
        return see_other(with_query(_address(unit), number=allotted.serials[0], station=station))

    @post(status_code=303, opt=_described("Enter that a ball is engraved anew"))
    async def entered(self, request: Request[Any, Any, Any], unit: FromPath[str]) -> Response[bytes]:
        """The ball bears the number; or what was read back is another."""
        typed = await typed_in_form(request)
        serial = read_serial(typed.text("number"))

        async def make(at: str, _before: Records | None) -> Records:
            said = {"unit": unit, "serial": serial, "station": _station(request, typed), **typed.picked("reason")}
            return [base(typed, "ball-engraved-anew", at, **said)]

        try:
            check_read_back(serial, read_serial(typed.text("read")))
            done = await say(request, typed.text("key"), typed.instant("at"), make)
        except LedgerError as error:
            return await _refused(request, unit, typed, error)
        return see_other(done_address(f"/ball/{quote(unit)}", "anew", done.index))


def _address(unit: str) -> str:
    return f"/ball/{quote(unit)}/anew"


def _station(request: Request[Any, Any, Any], typed: Typed) -> str:
    return as_id(typed.text("station")) or station_name(request, "engraving")


async def _refused(request: Request[Any, Any, Any], unit: str, typed: Typed, error: LedgerError) -> Response[bytes]:
    if status_of(error) >= 500:
        raise error
    return await _show(request, unit, typed, problem_of(error, request.scope["path"]).problem)


async def _show(
    request: Request[Any, Any, Any], unit: str, typed: Typed, problem: Problem | None = None
) -> Response[bytes]:
    known = await asyncio.to_thread(_known, parts_of(request), unit, read_serial(typed.text("number")))
    return page(
        request,
        "ball/anew.html",
        status=200 if problem is None else problem.status,
        headers={"cache-control": "no-store"},
        known=known,
        ball=known.ball,
        typed=typed,
        problem=problem,
        wrong="" if problem is None else field_of(problem.where),
        station=_station(request, typed),
        reason_words=worded(catalogue_of(request), "anew reason", REASONS),
        key=new_key(),
        at=now_text(parts_of(request)),
        base=f"/ball/{quote(unit)}",
    )


def _known(parts: Parts, unit: str, number: str) -> Known:
    """Raises NotFound, and Contradiction for a ball that bears no number yet."""
    with open_reader(parts.book.store) as reader:
        one = selected_ball(reader, unit)
        if one.unit.serial is None:
            raise Contradiction(
                f"unit {unit} bears no number yet", where="unit", mend="engrave it at the engraving station"
            )
        model = None if one.lot.model is None else reader.one(Model, one.lot.model)
        is_free = reader.one(Allotment, number) is not None and not any(
            row.own_scheme for row in reader.rows(SerialRow, "serial", number)
        )
    return Known(one.unit, one.lot.model or "" if model is None else model.name, number if is_free else "")
