"""The list of lots and the page of one: its account, windows, balls a page at a time, and what lies below it counted."""

from __future__ import annotations

import asyncio
from typing import Any, NamedTuple
from urllib.parse import quote, urlencode

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath

from api.guards import may_do
from api.operation import Operation, described
from api.pages import HTML
from api.pages.ball.acts import Turned, answer_act, done_note, form_values
from api.pages.ball.time_pictures import cure_picture, permitted_ms
from api.pages.catalogue import Catalogue
from api.pages.lots.log_picture import log_picture
from api.pages.lots.trace_cut import STAGES, cut_web
from api.pages.lots.trace_picture import amount_words, trace_picture
from api.pages.page import catalogue_of, page
from api.pages.refusal import see_other
from api.parts import Parts, parts_of
from ledger.application.lot_story import (
    SORT_OF,
    BallsBelow,
    LotPage,
    LotStory,
    balls_below,
    lot_story,
    lots_named_like,
    newest_lots,
)
from ledger.application.temperature_logs import TemperatureLogs, temperature_logs
from ledger.application.trace_web import BY_WEIGHT
from ledger.line.fact import parse_address
from ledger.line.quantity import UNITS
from ledger.store.engine import Store
from ledger.store.reader import open_reader

ACTS = ("hold", "lift", "merge")
NEWEST_FIRST = STAGES[::-1]


class LotPages(Controller):
    """Lots."""

    path = "/lot"

    @get(opt=described(Operation("Lots", "pages", action="look-up", media=HTML, page=True, may_lag=True)))
    async def listed(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The newest lots of a stage, or those whose id begins so; the one lot of an id that was scanned."""
        asked = request.query_params
        typed = asked.get("q", "").strip()
        stage = asked.get("stage", "") if asked.get("stage", "") in STAGES else NEWEST_FIRST[0]
        found = await asyncio.to_thread(_listed, parts_of(request).book.store, typed, stage, _before(asked))
        if typed and len(found.lots) == 1 and found.lots[0].lot == lot_typed(typed):
            return see_other(f"/lot/{quote(found.lots[0].lot)}")
        last = found.lots[-1] if found.lots and found.more and not typed else None
        older = None if last is None else urlencode({"stage": stage, "before": f"{last.began_ms}:{last.lot}"})
        return page(
            request,
            "lots/list.html",
            typed=typed[:60],
            stage=stage,
            stages=NEWEST_FIRST,
            lots=found.lots,
            more=found.more,
            older=older,
            first="before" not in asked,
            by_weight=BY_WEIGHT,
            amount=_amounts(catalogue_of(request)),
        )

    @get(
        "/{lot:str}",
        opt=described(Operation("One lot", "pages", action="look-up", media=HTML, page=True, may_lag=True)),
    )
    async def show(self, request: Request[Any, Any, Any], lot: FromPath[str]) -> Response[bytes]:
        """Everything about one lot; where a traveller's code leads."""
        return await _page(request, lot)

    @post(
        "/{lot:str}/{act:str}",
        status_code=303,
        opt=described(Operation("Decide on a lot", "pages", action="look-up", media=HTML, page=True)),
    )
    async def act(self, request: Request[Any, Any, Any], lot: FromPath[str], act: FromPath[str]) -> Response[bytes]:
        """A hold placed or lifted."""
        return await answer_act(request, act, f"lot:{lot}", ACTS, lambda turned: _page(request, lot, turned))

    @get(
        "/{lot:str}/below",
        opt=described(
            Operation("Count the balls below a lot", "pages", action="look-up", media=HTML, page=True, may_lag=True)
        ),
    )
    async def below(self, request: Request[Any, Any, Any], lot: FromPath[str]) -> Response[bytes]:
        """A count that may take long, made in another process; a script puts it into the page of the lot."""
        raw = await parts_of(request).long_answer(balls_below, lot)
        template = "lots/counted.html" if "part" in request.query_params else "lots/below.html"
        return page(request, template, lot=lot, below=msgspec.json.decode(raw, type=BallsBelow))


def lot_typed(typed: str) -> str:
    """A lot's id as typed or scanned: the last part of a traveller's address."""
    return typed.rstrip("/").rpartition("/")[2].upper()


def _before(asked: Any) -> tuple[int, str] | None:
    began, _, lot = asked.get("before", "").partition(":")
    return (int(began), lot) if began.isascii() and began.isdigit() and len(began) < 16 and lot else None


def _listed(store: Store, typed: str, stage: str, before: tuple[int, str] | None) -> LotPage:
    with open_reader(store) as reader:
        return lots_named_like(reader, lot_typed(typed)) if typed else newest_lots(reader, stage, before)


class Seen(NamedTuple):
    """What is looked up for the page."""

    story: LotStory
    logs: TemperatureLogs


def _seen(parts: Parts, lot: str, after: str, state: str) -> Seen:
    with open_reader(parts.book.store) as reader:
        story = lot_story(reader, lot, parts.book.clock_ms(), after=after, state=state)
    logs = temperature_logs(parts.book.store, lot) if story.view.temperatures else TemperatureLogs(lot=lot, logs=())
    return Seen(story, logs)


async def _page(request: Request[Any, Any, Any], lot: str, refused: Turned | None = None) -> Response[bytes]:
    # Made on a thread: registrations go on beside it.
    return await asyncio.to_thread(_made, request, lot, refused)


def _made(request: Request[Any, Any, Any], lot: str, refused: Turned | None) -> Response[bytes]:
    asked = request.query_params
    after, state = asked.get("after", ""), asked.get("state", "")
    seen = _seen(parts_of(request), lot, after, state)
    words, story = catalogue_of(request), seen.story
    view, cut = story.view, cut_web(story.web, most=6)
    title = words.gettext("%(lot)s, what it is made from and where it went") % {"lot": lot}
    act, entry = done_note(request, [fact.address for fact in story.facts])
    return page(
        request,
        "lots/lot.html",
        status=200 if refused is None else refused.fault.problem.status,
        headers={"cache-control": "no-store"},
        told=story,
        lot=view,
        cures=[(cure, cure_picture(cure, words)) for cure in story.cures],
        after=permitted_ms,
        logs=[(log, log_picture(log, words)) for log in seen.logs.logs],
        picture=trace_picture(cut, lot, words, title=title, walk="/lot/"),
        hidden=cut.hidden,
        amount=_amounts(words),
        by_weight=view.stage in BY_WEIGHT,
        unit_words=lambda code: UNITS[code].printed,
        entry_of=lambda fact: parse_address(fact)[0],
        see_entries=may_do(request, "entries"),
        see_cases=may_do(request, "cases"),
        see_labels=may_do(request, "labels"),
        suspect=urlencode({"sort": SORT_OF[view.stage], "name": lot}),
        after_unit=after,
        state=state,
        done=act,
        done_entry=entry,
        base=f"/lot/{quote(lot)}",
        **form_values(request, refused),
    )


def _amounts(words: Catalogue) -> Any:
    return lambda amount, by_weight: amount_words(amount, words, by_weight=by_weight)
