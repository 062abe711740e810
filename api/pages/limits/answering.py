"""Asking and answering: what a form's query says, and an answer as a whole page, or as the part that a script puts there.

A query may leave fields empty, as a form sends them.  A part is asked for by the header ``x-fragment``; what was refused is
answered in the same way, with the status of its problem.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, NamedTuple, TypeVar
from urllib.parse import parse_qsl, urlencode

import msgspec
from litestar import Request, Response

from api.pages import HTML
from api.pages.limits.options import FIXED, Options, read_options
from api.pages.limits.tabs import limits_page
from api.pages.page import page_text
from api.parts import parts_of
from api.problems import Problem, problem_of
from api.request_body import misfit
from ledger.errors import LedgerError, MalformedInput

T = TypeVar("T")

FRAGMENT = "x-fragment"

_EXPECTED = {
    "lot": "the id of a lot, as SL-104",
    "model": "the id of a model",
    "from_on": "a day, as 2026-11-29",
    "to_on": "a day, as 2026-11-29",
    "made_on": "a day, as 2026-11-29",
    "event_on": "a day, as 2026-11-29",
    "quantity": "one of the quantities listed",
    "rulebook": "one of the rulebooks listed",
    "gauge": "the id of a gauge",
    "bias": "a decimal number, as 0.003 or -0.5",
    "found": "the address of a fact in the book, as 412.0",
    "fact": "the address of a fact in the book, as 412.0",
    "lot_size": "a whole number of balls, 2 or more",
    "weight_class": "a whole number of pounds, 4 to 16",
}
"""What a field takes, in words, where it was said otherwise."""


Answer = Callable[[Request[Any, Any, Any], dict[str, str]], Awaitable[dict[str, Any]]]
"""Makes what the template of an answer shows, from what was typed. Raises what refuses it."""


class Sheet(NamedTuple):
    """A page with a form: its address and template, and the address and template of the answer that the form asks for."""

    page: str
    template: str
    answer: str
    part: str


def typed_in(request: Request[Any, Any, Any]) -> dict[str, str]:
    """What a form said, empty fields left out. Raises MalformedInput for a field that is said twice."""
    typed: dict[str, str] = {}
    # In the order of the query, so that one question has one address.
    query = request.scope["query_string"].decode("latin-1")
    for name, value in parse_qsl(query, keep_blank_values=True):
        if name in typed:
            raise MalformedInput("parameter is given twice", where=name, mend="give each parameter once")
        typed[name] = value.strip()
    return {name: value for name, value in typed.items() if value}


def read_typed(typed: Mapping[str, str], shape: type[T]) -> T:
    """What was typed as ``shape``, a Struct. Raises MalformedInput naming the field."""
    try:
        return msgspec.convert(dict(typed), shape, strict=False)
    except msgspec.ValidationError as error:
        found = misfit(error)
        if found.where not in _EXPECTED or found.where not in typed:
            raise found from error
        raise MalformedInput(
            "field does not say what it should",
            expected=_EXPECTED[found.where],
            got=typed[found.where],
            where=found.where,
            mend="correct the field and ask again",
        ) from error


def address_of(path: str, typed: Mapping[str, Any], **changed: str | None) -> str:
    """A path with the query that says what was typed; a change to None leaves a field out."""
    asked = {name: value for name, value in {**typed, **changed}.items() if value not in (None, "")}
    return f"{path}?{urlencode(asked)}" if asked else path


async def options_for(request: Request[Any, Any, Any]) -> Options:
    """What the forms let one choose from now."""
    return await asyncio.to_thread(read_options, parts_of(request).book.store)


async def asking(request: Request[Any, Any, Any], sheet: Sheet, *, asked: bool) -> Response[bytes]:
    """The page with its form as typed. ``asked``: enough is typed for the answer, which a script then fetches."""
    typed = typed_in(request)
    return limits_page(
        request,
        sheet.template,
        typed=typed,
        options=await options_for(request),
        problem=None,
        answer=None,
        answer_address=address_of(sheet.answer, typed) if asked else "",
        **FIXED,
    )


async def answering(request: Request[Any, Any, Any], sheet: Sheet, answer: Answer) -> Response[bytes]:
    """The answer to what was typed, or what refuses it."""
    typed: dict[str, str] = {}
    problem: Problem | None = None
    values: dict[str, Any] | None = None
    try:
        typed = typed_in(request)
        values = await answer(request, typed)
    except LedgerError as error:
        problem = problem_of(error, request.scope["path"]).problem
    status = 200 if problem is None else problem.status
    if FRAGMENT in request.headers:
        text = page_text(
            request,
            f"limits/{sheet.part}" if problem is None else "limits/refused.html",
            typed=typed,
            problem=problem,
            answer=values,
        )
        text = page_text(request, "as-of.html") + text
        headers = {"vary": f"{FRAGMENT}, accept-language, cookie"}
        return Response(content=text.encode(), media_type=HTML, status_code=status, headers=headers)
    options = await options_for(request)
    return limits_page(
        request,
        sheet.template,
        status=status,
        typed=typed,
        options=options,
        problem=problem,
        answer=values,
        answer_address="",
        **FIXED,
    )
