"""``/station/undo``: what was said a moment ago is taken back, with a reason: a correction that withdraws it.

Whose facts a station may take back, and for how long, is `ledger.application.said_undone`; what it may not is shown with
the reason why, and is the quality lead's to correct.
"""

from __future__ import annotations

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get, post

from api.guards import account_of
from api.pages.catalogue import N_
from api.pages.page import catalogue_of, page
from api.pages.refusal import local_address
from api.pages.stations.acts import base
from api.pages.stations.answers import Records, accepted, field_of, new_key, refused, say, with_query
from api.pages.stations.fact_words import fact_words_in
from api.pages.stations.of_station import of_station, typed_in_form, typed_in_query
from api.pages.stations.typed import Typed
from api.parts import parts_of
from api.problems import Problem
from ledger.application.at_station import EntrySaid, entry_said
from ledger.errors import LedgerError, MalformedInput
from ledger.store.reader import open_reader

UNDO = "/station/undo"
REASONS = ("typing-mistake", "wrong-lot", "wrong-count", "said-twice", "not-done", "other")
OF_READINGS = ("typing-mistake", "wrong-ball", "wrong-gauge", "gauge-slipped", "said-twice", "other")
"""Reasons that are offered, of what was done and of what was read; a note may say more, and of ``other`` it has to.

The reason stands in the book for ever, and with a reading that was taken back on the page of its ball.
"""

_SAID = N_("It is taken back. The book keeps what was said, and why it no longer stands.")


class Undoing(Controller):
    """Taking back what was said at a station."""

    path = UNDO

    @get(opt=of_station("Take back what was said"))
    async def shown(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The entry, and the reasons to choose from."""
        return await _show(request, typed_in_query(request))

    @post(status_code=303, opt=of_station("Take back what was said"))
    async def sent(self, request: Request[Any, Any, Any]) -> Response[Any]:
        """The correction; all that the entry said goes, or nothing of it."""
        typed = await typed_in_form(request)

        async def make(at: str, _before: Records | None) -> Records:
            if typed.text("reason") == "other" and not typed.text("note"):
                raise MalformedInput(
                    "the reason says nothing", where="note", mend="choose another reason, or say in a note what it was"
                )
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
        reasons=OF_READINGS if all(fact.kind == "inspection" for fact in entry.facts) else REASONS,
        engraved=[serial for fact in entry.facts if (serial := getattr(fact.record, "serial", ""))],
        wrong="" if problem is None else field_of(problem.where),
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
