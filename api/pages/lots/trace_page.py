"""The trace of a lot: a picture to walk, the same in words, and every line of it as a file."""

from __future__ import annotations

import asyncio
import csv
import io
from typing import Any, cast
from urllib.parse import quote

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.guards import may_do
from api.operation import Operation, described
from api.pages import HTML
from api.pages.lots.trace_cut import cut_web
from api.pages.lots.trace_picture import amount_words, trace_picture
from api.pages.page import catalogue_of, page
from api.parts import file_answer, parts_of
from ledger.application.lot_story import SORT_OF
from ledger.application.trace_web import BY_WEIGHT, Direction, TraceWeb, WebLine, trace_web, whole_web
from ledger.errors import MalformedInput
from ledger.store.engine import Store
from ledger.store.reader import open_reader

CSV = "text/csv"
DIRECTIONS: tuple[Direction, ...] = ("both", "up", "down")
LISTED = 60
"""Lines that are listed in words; the file has all."""


class TracePages(Controller):
    """The web of lots around one."""

    path = "/trace/{lot:str}"

    @get(opt=described(Operation("The trace of a lot", "pages", action="look-up", media=HTML, page=True, may_lag=True)))
    async def show(self, request: Request[Any, Any, Any], lot: FromPath[str]) -> Response[bytes]:
        """Up, down or both; each lot on it leads to its own trace."""
        # Made on a thread: registrations go on beside it.
        return await asyncio.to_thread(_made, request, lot)

    @get(
        "/lines.csv",
        opt=described(
            Operation(
                "Every line of a trace as CSV", "look up", action="look-up", media=CSV, problems=(404,), may_lag=True
            )
        ),
    )
    async def lines(self, request: Request[Any, Any, Any], lot: FromPath[str]) -> Response[bytes]:
        """Parent, child, part, amount and how surely, made in another process."""
        raw = await parts_of(request).long_answer(whole_web, lot, _direction(request))
        web = msgspec.json.decode(raw, type=TraceWeb)
        return file_answer(_csv(web).encode(), CSV, name=f"trace-{lot}.csv" if lot.isascii() else "")


def _made(request: Request[Any, Any, Any], lot: str) -> Response[bytes]:
    direction = _direction(request)
    web = _web(parts_of(request).book.store, lot, direction)
    words, cut = catalogue_of(request), cut_web(web)
    title = words.gettext("Trace of %(lot)s") % {"lot": lot}
    lines = sorted(web.lines, key=lambda line: (line.parent != lot, line.child != lot))
    return page(
        request,
        "lots/trace.html",
        web=web,
        focus=web.lot_of(lot),
        direction=direction,
        directions=DIRECTIONS,
        picture=trace_picture(cut, lot, words, title=title),
        hidden=cut.hidden,
        lines=lines[:LISTED],
        left_out=max(0, len(lines) - LISTED),
        amount=lambda amount, by_weight: amount_words(amount, words, by_weight=by_weight),
        amount_of=lambda line: _amount(web, line, words),
        drawn=sum(line.amount for line in web.from_lot(lot)),
        see_cases=may_do(request, "cases"),
        sort=SORT_OF[web.lot_of(lot).stage],
        numbers=f"/trace/{quote(lot)}/lines.csv?direction={direction}",
    )


def _direction(request: Request[Any, Any, Any]) -> Direction:
    said = request.query_params.get("direction", "both")
    if said not in DIRECTIONS:
        raise MalformedInput(
            "no such direction", expected=", ".join(DIRECTIONS), got=said, where="direction", mend="choose one of them"
        )
    return cast("Direction", said)


def _web(store: Store, lot: str, direction: Direction) -> TraceWeb:
    with open_reader(store) as reader:
        return trace_web(reader, lot, direction)


def _amount(web: TraceWeb, line: WebLine, words: Any) -> str:
    if web.lot_of(line.parent).stage in BY_WEIGHT:
        return amount_words(line.amount, words, by_weight=True)
    said: str = words.ngettext("%(n)s piece", "%(n)s pieces", line.amount) % {"n": words.number(line.amount)}
    return said


def _csv(web: TraceWeb) -> str:
    stage = {one.lot: one.stage for one in web.lots}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(
        ["parent", "parent_stage", "child", "child_stage", "part", "amount", "unit", "certainty", "first", "last"]
    )
    for one in web.lines:
        unit = "g" if stage[one.parent] in BY_WEIGHT else "pieces"
        writer.writerow(
            [one.parent, stage[one.parent], one.child, stage[one.child], one.part, one.amount, unit, one.certainty,
             one.first, one.last]
        )  # fmt: skip
    return out.getvalue()
