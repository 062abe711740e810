"""``/station/undo``: what was said a moment ago is taken back, with a reason: a correction that withdraws it.

Whose facts a station may take back, and for how long, is `ledger.application.said_undone`; what it may not is shown with
the reason why, and is the quality lead's to correct.
"""

from __future__ import annotations

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get, post

from api.guards import account_of
from api.operation import Operation, described
from api.pages import HTML
from api.pages.catalogue import N_
from api.pages.page import catalogue_of, page
from api.pages.refusal import local_address
from api.pages.stations.acts import base
from api.pages.stations.answers import Records, accepted, new_key, refused, say, with_query
from api.pages.stations.fact_words import fact_words_in
from api.pages.stations.typed import Typed
from api.parts import parts_of
from api.problems import Problem
from ledger.application.at_station import EntrySaid, entry_said
from ledger.errors import LedgerError, MalformedInput
from ledger.store.reader import open_reader

UNDO = "/station/undo"
REASONS = ("typing-mistake", "wrong-lot", "wrong-count", "said-twice", "not-done", "other")
"""Reasons that are offered; a note may say more."""

_SAID = N_("It is taken back. The book keeps what was said, and why it no longer stands.")


def _described(summary: str) -> dict[str, Any]:
    return described(Operation(summary, "pages", action="stations", media=HTML, page=True))


class Undoing(Controller):
    """Taking back what was said at a station."""

    path = UNDO

    @get(opt=_described("Take back what was said"))
    async def shown(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The entry, and the reasons to choose from."""
        query = request.query_params
        return await _show(request, Typed({name: query.getall(name) for name in query}, catalogue_of(request).zone))

    @post(status_code=303, opt=_described("Take back what was said"))
    async def sent(self, request: Request[Any, Any, Any]) -> Response[Any]:
        """The correction; all that the entry said goes, or nothing of it."""
        form = await request.form()
        typed = Typed({name: form.getall(name) for name in form}, catalogue_of(request).zone)

        async def make(at: str, _before: Records | None) -> Records:
            changes = [{"fact": fact} for fact in typed.every("fact")]
            return [base(typed, "correction", at, changes=changes, **typed.picked("reason"))]

        try:
            entered = await say(request, typed.text("key"), typed.instant("at"), make)
        except LedgerError as error:

            async def again(problem: Problem) -> Response[bytes]:
                return await _show(request, typed, problem)

            return await refused(request, error, back=_address(typed), again=again)
        onward = with_query(_back(typed), done=str(entered.index))
        return accepted(request, said=catalogue_of(request).gettext(_SAID), onward=onward)


def _back(typed: Typed) -> str:
    """The page that the undo was asked on; a lot that it would make go is not opened again."""
    return local_address(typed.text("back") or "/station")


def _address(typed: Typed) -> str:
    return with_query(UNDO, entry=typed.text("entry"), back=_back(typed))


async def _show(request: Request[Any, Any, Any], typed: Typed, problem: Problem | None = None) -> Response[bytes]:
    entry = await asyncio.to_thread(_look, request, typed)
    return page(
        request,
        "stations/undo.html",
        status=problem.status if problem else 200,
        headers={"cache-control": "no-store"},
        entry=entry,
        back=_back(typed),
        typed=typed,
        problem=problem,
        reasons=REASONS,
        key=new_key(),
        fact_words=fact_words_in(catalogue_of(request)),
    )


def _look(request: Request[Any, Any, Any], typed: Typed) -> EntrySaid:
    text = typed.text("entry")
    if not (text.isascii() and text.isdigit() and len(text) < 16):
        raise MalformedInput("no such entry", got=text, where="entry", mend="go back to the station's page")
    book = parts_of(request).book
    with open_reader(book.store) as reader:
        return entry_said(reader, int(text), account_of(request), book.clock_ms())
