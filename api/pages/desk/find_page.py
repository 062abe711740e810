"""Find a ball with a phone at the ear: one field, the balls that it may be, and what to ask next."""

import asyncio
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get

from api.operation import Operation, described
from api.pages import HTML
from api.pages.desk.finding import Sought, asked_of, characters, of_colour, questions
from api.pages.desk.forms import fault_of
from api.pages.page import page
from api.pages.refusal import see_other
from api.parts import parts_of
from ledger.application.finding import FoundBalls, find_balls, is_quick
from ledger.errors import LedgerError
from ledger.line.claim_rows import Claim
from ledger.line.rows import Model
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.selections import every_row

SHOWN = 20
"""Balls that are shown; what to ask next is worked out over all that were found."""

WEIGHTS = tuple(range(6, 17))
"""Pounds that are offered; balls are made in these weights (common practice, no source)."""


class FindPages(Controller):
    """The desk's first page."""

    @get("/desk", opt=described(Operation("Find a ball for a claim", "pages", action="claims", media=HTML, page=True)))
    async def find(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The field; with something in it, the balls that it may be. A claim's own number opens the claim."""
        asked = request.query_params
        sought = Sought(**{name: str(asked.get(name, default)).strip() for name, default in Sought()._asdict().items()})
        values: dict[str, Any] = {"sought": sought, "fault": None, "found": None, "later": "", "weights": WEIGHTS}
        known = await asyncio.to_thread(_known, parts_of(request).book.store, sought.q)
        if known.claim:
            return see_other(f"/desk/claim/{known.claim}")
        values["models"] = known.models
        if not sought.q:
            return page(request, "desk/find.html", **values)
        template = "desk/candidates.html" if "part" in asked else "desk/find.html"
        try:
            values |= await _candidates(request, sought)
        except LedgerError as error:
            fault = fault_of(request, error, {"serial": "q", "prefix": "q", "first": "q", "weight_class": "weight"})
            return page(request, "desk/find.html", status=fault.problem.status, **(values | {"fault": fault}))
        return page(request, template, **values)


class _Known(msgspec.Struct, frozen=True):
    """The models that may be chosen, and the claim whose own number was typed."""

    models: list[Model]
    claim: str


def _known(store: Store, typed: str) -> _Known:
    with open_reader(store) as reader:
        claim = reader.one(Claim, typed.upper()) if typed.isascii() else None
        return _Known(every_row(reader.transaction, Model), "" if claim is None else claim.claim)


async def _candidates(request: Request[Any, Any, Any], sought: Sought) -> dict[str, Any]:
    """What is found; a search that may take long is left to a script, which asks with ``part``, or to a link (``whole``)."""
    parts, asked = parts_of(request), asked_of(sought)
    if is_quick(asked):
        found = await asyncio.to_thread(_find, parts.book.store, asked)
    elif "part" in request.query_params or "whole" in request.query_params:
        found = msgspec.json.decode(await parts.long_answer(find_balls, asked), type=FoundBalls)
    else:
        return {"later": sought.address()}
    balls = of_colour(found.balls, sought.colour)
    alike = [ball for ball in balls if ball.how == "by look-alike"]
    plain = [ball for ball in balls if ball.how != "by look-alike"]
    hidden = 0 if sought.colour else found.count - len(balls)
    return {
        "found": found,
        "plain": [(ball, characters(ball)) for ball in plain[:SHOWN]],
        "alike": [(ball, characters(ball)) for ball in alike[:SHOWN]],
        "fitting": len(plain) + (0 if alike else hidden),
        "misread": len(alike) + (hidden if alike else 0),
        "ask": questions(plain or alike, sought),
    }


def _find(store: Store, asked: Any) -> FoundBalls:
    with open_reader(store) as reader:
        return find_balls(reader, asked)
