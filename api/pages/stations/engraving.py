"""The page ``/station/engraving``: a number in the engraving face, engraved, read back, registered, its label printed.

Numbers are allotted a few at a time (`ledger.application.numbers_ahead`), so that the page works through a lost connection.
Engraving is recorded once the number was read back from the ball as it was shown; the instant of the record is that of the
tap on "Engraved".
"""

from __future__ import annotations

import asyncio
import contextlib
import secrets
from typing import Any

from litestar import Controller, Request, Response, get, post

from api.guards import account_of
from api.pages.catalogue import N_
from api.pages.page import catalogue_of, page
from api.pages.refusal import see_other
from api.pages.stations.acts import base
from api.pages.stations.answers import (
    DONE,
    Records,
    accepted,
    field_of,
    new_key,
    now_text,
    refused,
    say,
    with_breaches,
    with_query,
)
from api.pages.stations.asked import ask_first, tells_what_was_done
from api.pages.stations.engraving_values import AskedOf, engraving_values, fresh_unit
from api.pages.stations.fact_words import fact_words_in
from api.pages.stations.of_station import of_station, typed_in_form, typed_in_query
from api.pages.stations.read_back import Place, is_read_back, places, read_serial
from api.pages.stations.station_name import station_name
from api.pages.stations.typed import Typed
from api.parts import parts_of
from api.problems import Problem
from ledger.application.ball_view import selected_ball
from ledger.application.numbers_ahead import Desk, take_numbers
from ledger.application.scanning import scanned
from ledger.errors import Contradiction, LedgerError, MalformedInput, NotFound, Refused
from ledger.line.rows import Model, Unit
from ledger.store.reader import open_reader

ENGRAVING = "/station/engraving"
LABEL = f"{ENGRAVING}/label"
WORD_COOKIE = "pourbook-engraver"
MOST_LABELS = 9

_REGISTERED = N_("Ball %(serial)s is registered in lot %(lot)s.")


class EngravingPages(Controller):
    """The engraving station."""

    path = ENGRAVING

    @get(opt=of_station("The engraving station"))
    async def shown(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The lot and its next number; ``engraved`` is the number of the second step, where there are no scripts."""
        typed = typed_in_query(request)
        if typed.text("scan"):
            return await _scanned(request, typed)
        return await _show(request, typed)

    @post("/numbers", status_code=303, opt=of_station("Take numbers for a lot"))
    async def numbers(self, request: Request[Any, Any, Any]) -> Response[Any]:
        """A few numbers of the own scheme, for this browser at this station and this lot."""
        typed = await typed_in_form(request)
        desk = _desk(request, fresh=True)
        lot = typed.id("lot")
        back = with_query(ENGRAVING, lot=lot)
        try:
            await asyncio.to_thread(take_numbers, parts_of(request).book, account_of(request), desk, lot)
        except LedgerError as error:
            return await refused(request, error, back=back, again=lambda problem: _show(request, typed, problem))
        response = see_other(back)
        _remember(response, desk)
        return response

    @post(status_code=303, opt=of_station("Register an engraved ball"))
    async def registered(self, request: Request[Any, Any, Any]) -> Response[Any]:
        """The ball stands in the book under its number; or what was read back is another number."""
        return await _registered(request, await typed_in_form(request))

    @get("/label", opt=of_station("Print the labels of a ball"))
    async def label(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """As many labels of one ball as are wanted; with scripts they are printed at once."""
        typed = typed_in_query(request)
        unit, count = typed.id("unit"), typed.count("count", empty=1)
        if not 1 <= count <= MOST_LABELS:
            raise MalformedInput("number of labels is out of range", expected=f"1 to {MOST_LABELS}", where="count")
        row, has_label = await asyncio.to_thread(_labelled, request, unit)
        return page(
            request,
            "stations/engraving-label.html",
            headers={"cache-control": "no-store"},
            ball=row,
            has_label=has_label,
            count=count,
            most=MOST_LABELS,
            said=_said_of(request, typed, row),
            onward=with_query(ENGRAVING, lot=row.lot),
        )


async def _registered(request: Request[Any, Any, Any], typed: Typed) -> Response[Any]:
    serial, lot = read_serial(typed.text("serial")), typed.id("lot")
    unit = typed.id("unit") or fresh_unit(serial)
    back = with_query(ENGRAVING, lot=lot)

    async def make(at: str, before: Records | None) -> Records:
        record = base(
            typed,
            "ball-engraved",
            at,
            unit=unit,
            lot=lot,
            serial=serial,
            weight_class=typed.count("weight_class"),
            station=station_name(request, "engraving"),
        )
        if typed.text("place"):
            record["place"] = typed.count("place")
        if before is None:
            await asyncio.to_thread(_check_place, request, record)
            if not tells_what_was_done(request, typed):
                await ask_first(request, [record])
        return [record]

    read = ""
    try:
        read = read_serial(typed.text("read"))
        check_read_back(serial, read)
        entered = await say(request, typed.text("key"), typed.instant("at"), make)
    except LedgerError as error:
        compared = places(serial, read) if read and not is_read_back(serial, read) else []
        return await refused(request, error, back=back, again=lambda problem: _show(request, typed, problem, compared))
    with contextlib.suppress(Refused):
        # The ball stands; where no further number can be taken now, the page offers to take some.
        await asyncio.to_thread(take_numbers, parts_of(request).book, account_of(request), _desk(request), lot)
    said = catalogue_of(request).gettext(_REGISTERED) % {"serial": serial, "lot": lot}
    labels = typed.count("labels", empty=0)
    onward = with_query(back, **{DONE: str(entered.index)})
    if labels:
        onward = with_query(LABEL, unit=unit, count=str(min(labels, MOST_LABELS)), **{DONE: str(entered.index)})
    return accepted(request, said=with_breaches(request, said, entered), onward=onward)


def check_read_back(serial: str, read: str) -> None:
    """Return if what was read back is the number shown. Raises Contradiction."""
    if not is_read_back(serial, read):
        raise Contradiction(
            "the number read back is another than the one shown",
            expected=serial,
            got=read or "nothing",
            where="read",
            mend="read the ball again; if it bears another number, engrave it anew and register nothing here",
        )


def _check_place(request: Request[Any, Any, Any], record: dict[str, Any]) -> None:
    """Two balls of a lot cannot have one place. Raises Contradiction naming the ball that has it."""
    place = record.get("place")
    if place is None:
        return
    with open_reader(parts_of(request).book.store) as reader:
        units: list[Unit] = reader.rows(Unit, "lot", record["lot"])
    other = next((unit for unit in units if unit.place == place and unit.unit != record["unit"]), None)
    if other is not None:
        raise Contradiction(
            f"place {place} of lot {record['lot']} is that of ball {other.serial or other.unit}",
            where="place",
            mend="count the place of this ball again, or leave it out",
        )


async def _scanned(request: Request[Any, Any, Any], typed: Typed) -> Response[Any]:
    """From a scan to the lot; a ball's tag or label leads to its lot too."""

    def look() -> str:
        with open_reader(parts_of(request).book.store) as reader:
            return scanned(reader, typed.text("scan")).lot

    try:
        lot = await asyncio.to_thread(look)
    except LedgerError as error:
        return await refused(request, error, back=ENGRAVING, again=lambda problem: _show(request, typed, problem))
    return see_other(with_query(ENGRAVING, lot=lot))


async def _show(
    request: Request[Any, Any, Any], typed: Typed, problem: Problem | None = None, compared: list[Place] | None = None
) -> Response[bytes]:
    parts, account, desk = parts_of(request), account_of(request), _desk(request)
    asked = AskedOf(typed.id("lot"), tuple(read_serial(serial) for serial in typed.every("passed")))
    try:
        values = await asyncio.to_thread(engraving_values, parts, asked, desk, account)
    except (NotFound, Refused):
        if problem is None:
            raise
        values = await asyncio.to_thread(engraving_values, parts, AskedOf(""), desk, account)
    engraved = read_serial(typed.text("engraved") or (typed.text("serial") if problem else ""))
    return page(
        request,
        "stations/engraving.html",
        status=problem.status if problem else 200,
        headers={"cache-control": "no-store"},
        typed=typed,
        problem=problem,
        wrong="" if problem is None else field_of(problem.where),
        compared=compared or [],
        engraved=engraved,
        engraved_at=typed.text("at") or (now_text(parts) if engraved else ""),
        passed=asked.passed,
        key=new_key(),
        station=desk.station,
        done=typed.text(DONE) if problem is None else "",
        most_labels=MOST_LABELS,
        stage="engraving",
        hand=values["view"],
        fact_words=fact_words_in(catalogue_of(request)),
        **values,
    )


def _labelled(request: Request[Any, Any, Any], unit: str) -> tuple[Unit, bool]:
    """The ball, and whether it can have a label: it bears a number and its model has a GTIN. Raises NotFound."""
    with open_reader(parts_of(request).book.store) as reader:
        one = selected_ball(reader, unit)
        model = None if one.lot.model is None else reader.one(Model, one.lot.model)
    return one.unit, one.unit.serial is not None and model is not None and bool(model.gtin)


def _said_of(request: Request[Any, Any, Any], typed: Typed, ball: Unit) -> str:
    if not typed.text(DONE):
        return ""
    return catalogue_of(request).gettext(_REGISTERED) % {"serial": ball.serial, "lot": ball.lot}


def _desk(request: Request[Any, Any, Any], *, fresh: bool = False) -> Desk:
    """Who engraves where; ``fresh`` gives a browser that has no word yet one."""
    word = request.cookies.get(WORD_COOKIE, "")
    if not (word.isalnum() and word.isascii() and len(word) <= 8):
        word = secrets.token_hex(4) if fresh else ""
    return Desk(account_of(request).account, station_name(request, "engraving"), word)


def _remember(response: Response[Any], desk: Desk) -> None:
    response.set_cookie(
        key=WORD_COOKIE, value=desk.word, max_age=365 * 86_400, path=ENGRAVING, samesite="lax", httponly=True
    )
