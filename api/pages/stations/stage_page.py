"""The pages ``/station/{mixing|blocks|cores|shells|finishing}``, and what is said on them.

A tap is asked first: what the plan forbids now is refused with the reasons, and the form stays as it was typed.  What was
done all the same is said by the form's second button (``way=done``), and is entered with the breaches that it leaves: a
step that was done is always recorded.  So is what a queue sends more than a minute after its tap: nobody could be asked
then, and by now it was done.
"""

from __future__ import annotations

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get, post

from api.guards import account_of
from api.pages.catalogue import Catalogue
from api.pages.page import catalogue_of, page
from api.pages.refusal import see_other
from api.pages.stations.acts import Act, Post
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
from api.pages.stations.fact_words import fact_words_in
from api.pages.stations.form_values import form_values
from api.pages.stations.of_station import of_station, typed_in_form, typed_in_query
from api.pages.stations.stage_values import STAGE_PAGES, StagePage, Wanted, page_values, stage_of_lot
from api.pages.stations.station_name import station_name
from api.pages.stations.typed import Typed
from api.pages.words import english_word
from api.parts import Parts, parts_of
from api.problems import Problem
from ledger.application.asking import AskAnswer
from ledger.application.at_station import at_hand
from ledger.application.scanning import Scanned, scanned
from ledger.book.instant import instant_ms
from ledger.errors import LedgerError, NotFound
from ledger.line.rows import Unit
from ledger.store.reader import open_reader

_GET = [f"/station/{stage}" for stage in STAGE_PAGES]
_POST = [f"/station/{stage}/{act.name}" for stage, found in STAGE_PAGES.items() for act in found.acts]
_START = [f"/station/{stage}/start" for stage in ("mixing", "blocks", "cores", "shells")]


class StagePageRoutes(Controller):
    """The stages of the line up to the finished ball."""

    @get(_GET, opt=of_station("The station of a stage"))
    async def shown(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The lot at hand and its steps; without one, the form of a pour and what is open."""
        found = _page_of(request)
        typed = typed_in_query(request)
        if typed.text("scan"):
            return await _scanned(request, found, typed)
        act = "pour" if typed.text("began") else ""
        return await _show(request, found, typed, act=act)

    @post(_START, status_code=303, opt=of_station("A pour begins"))
    async def started(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The same form with the instant at which the pour began; nothing is entered before it ends."""
        found, typed = _page_of(request), await typed_in_form(request)
        fields = [(name, value) for name, value in typed.pairs() if name != "began" and value]
        address = f"/station/{found.stage}"
        for name, value in [*fields, ("began", now_text(parts_of(request)))]:
            address = with_query(address, **{name: value})
        return see_other(address)

    @post(_POST, status_code=303, opt=of_station("Record a step at a station"))
    async def said(self, request: Request[Any, Any, Any]) -> Response[Any]:
        """What was done, entered once; or refused, with what was typed."""
        found, typed = _page_of(request), await typed_in_form(request)
        act = found.act(request.scope["path"].rpartition("/")[2])
        if act is None:
            raise NotFound("no such step at this station", where="act")
        return await _said(request, found, act, typed)


async def _said(request: Request[Any, Any, Any], found: StagePage, act: Act, typed: Typed) -> Response[Any]:
    answers: list[AskAnswer] = []
    parts = parts_of(request)
    own = station_name(request, found.stage)

    async def make(at: str, before: Records | None) -> Records:
        fresh = await asyncio.to_thread(_is_fresh, parts, typed, before)
        records = act.make(typed, Post(found.stage, own, fresh), at)
        done = typed.text("done_step") or tells_what_was_done(request, typed)
        if before is None and act.asks and not done:
            await ask_first(request, records, answers)
        return records

    back = with_query(
        f"/station/{found.stage}", lot=typed.id("lot") if act.name not in {"pour", "receive", "mix"} else ""
    )
    try:
        at = typed.instant("ended") or typed.instant("at")
        entered = await say(request, typed.text("key"), at, make)
    except LedgerError as error:

        async def again(problem: Problem) -> Response[bytes]:
            return await _show(request, found, typed, act=act.name, problem=problem, answers=answers)

        return await refused(request, error, back=back, again=again)
    lot = act.names(typed)
    onward = with_query(f"/station/{found.stage}", lot=lot, **{DONE: str(entered.index)})
    words = catalogue_of(request)
    said = words.gettext(act.said) % {"lot": lot, "unit": typed.id("unit"), "step": _step_word(words, typed)}
    return accepted(request, said=with_breaches(request, said, entered), onward=onward)


def _step_word(words: Catalogue, typed: Typed) -> str:
    step = typed.text("step") or typed.text("done_step")
    return words.gettext(english_word("step", step)) if step else ""


def _is_fresh(parts: Parts, typed: Typed, before: Records | None) -> bool:
    """Whether the ball that a form names has to be entered first; for a key that was used, whether it had to be then."""
    if before is not None:
        return len(before) > 1
    if not typed.text("unit"):
        return False
    with open_reader(parts.book.store) as reader:
        return reader.one(Unit, typed.id("unit")) is None


async def _scanned(request: Request[Any, Any, Any], found: StagePage, typed: Typed) -> Response[bytes]:
    """From a scan to the lot: at hand where this page works on it, in the pour where it takes from it, else where it belongs."""
    try:
        one, steps = await asyncio.to_thread(look_up, parts_of(request), typed.text("scan"))
    except LedgerError as error:

        async def again(problem: Problem) -> Response[bytes]:
            return await _show(request, found, typed, problem=problem, act="scan")

        answer: Response[bytes] = await refused(request, error, back=f"/station/{found.stage}", again=again)
        return answer
    return see_other(address_for(one, steps, found.stage, typed.every("from")))


def address_for(one: Scanned, steps: list[str], here: str = "", taken: tuple[str, ...] = ()) -> str:
    """The page for what was scanned; ``here`` is the page that it was scanned on, ``taken`` what is in its pour already."""
    found = STAGE_PAGES.get(here)
    if found is not None and one.stage in found.works_on and one.stage not in found.takes:
        return with_query(f"/station/{here}", lot=one.lot, unit=one.unit)
    if found is not None and one.stage in found.takes:
        address = f"/station/{here}"
        for lot in dict.fromkeys((*taken, one.lot)):
            address = with_query(address, **{"from": lot})
        return address
    stage = stage_of_lot(one.stage, steps)
    if one.stage == "batch":
        return with_query(f"/station/{stage}", **{"from": one.lot})
    return with_query(f"/station/{stage}", lot=one.lot, unit=one.unit)


def look_up(parts: Parts, text: str) -> tuple[Scanned, list[str]]:
    """What a scan names, and the steps done on its lot. Raises NotFound, MalformedLink."""
    with open_reader(parts.book.store) as reader:
        one = scanned(reader, text)
        return one, [step.step for step in at_hand(reader, one.lot).steps]


async def _show(
    request: Request[Any, Any, Any],
    found: StagePage,
    typed: Typed,
    *,
    act: str = "",
    problem: Problem | None = None,
    answers: list[AskAnswer] | None = None,
) -> Response[bytes]:
    """The page. ``act`` is the form that what was typed belongs to; what was refused of it stands above it."""
    makes = act in {"pour", "receive", "mix", "scan"}
    lot = "" if makes else typed.id("lot")
    taken = [lot for lot in (*typed.every("from"), *_taken(typed)) if lot] if not lot else []
    parts, account = parts_of(request), account_of(request)
    done = typed.text(DONE) if problem is None else ""
    try:
        values = await asyncio.to_thread(page_values, parts, found, Wanted(lot, taken, done), account)
    except NotFound:
        # What was said last may have made the lot go: an undo leads back to where it was asked.
        if problem is None and not done:
            raise
        values = await asyncio.to_thread(page_values, parts, found, Wanted("", [], done), account)
    earliest = [answer.earliest for answer in answers or () if answer.earliest is not None]
    return page(
        request,
        f"stations/{found.stage}.html",
        status=problem.status if problem else 200,
        headers={"cache-control": "no-store"},
        typed=typed,
        act=act,
        problem=problem,
        wrong="" if problem is None else field_of(problem.where),
        reasons=[reason for answer in answers or () for reason in answer.reasons],
        earliest_ms=max(map(instant_ms, earliest), default=None),
        key=new_key,
        station=station_name(request, found.stage),
        **form_values(catalogue_of(request), found, typed, values, parts.book.clock_ms()),
        **values,
        fact_words=fact_words_in(catalogue_of(request)),
    )


def _taken(typed: Typed) -> list[str]:
    return [lot.strip().upper() for name in ("parent", "batch") for lot in typed.every(name)]


def _page_of(request: Request[Any, Any, Any]) -> StagePage:
    return STAGE_PAGES[request.scope["path"].split("/")[2]]
