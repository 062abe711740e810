"""What claims say of what balls share: the cases that signals opened, a look when it is asked for, and one member."""

import asyncio
import csv
import io
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.operation import Operation, described
from api.pages import HTML
from api.pages.page import page
from api.parts import Parts, file_answer, parts_of
from ledger.application.case_view import CaseSeen, cases_of
from ledger.application.plain_cells import plain
from ledger.application.signals import Signals, SignalsAsked, signals_of
from ledger.application.survival_view import MemberInClaims, member_in_claims
from ledger.errors import NotFound
from ledger.store.reader import open_reader
from ledger.warranty.lot_signals import SIGNAL_RULE
from ledger.warranty.members import FAMILIES, Family
from ledger.warranty.signal_suspects import SORT_OF

CSV = "text/csv; charset=utf-8"
LISTED = 10
MOST_LISTED = 500
_MEMBER_HEAD = (
    "family", "name", "stands", "claims", "balls", "possible_balls", "ball_days", "compared", "of", "expected", "ratio",
    "ratio_low", "ratio_high", "p", "adjusted",
)  # fmt: skip
_POINT_HEAD = ("side", "days", "at_risk", "claims", "share", "se", "low", "high")


def _described(summary: str) -> dict[str, Any]:
    return described(Operation(summary, "pages", action="signals", media=HTML, page=True, may_lag=True))


def _table_described(summary: str) -> dict[str, Any]:
    return described(Operation(summary, "warranty", action="signals", media=CSV, problems=(404,), may_lag=True))


class SignalPages(Controller):
    """Signals in claims."""

    path = "/desk/signals"

    @get(opt=_described("Signals in claims"))
    async def signals(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """What the weekly look opened; with ``part`` or ``whole`` a look as of now, which takes a while."""
        parts, asked = parts_of(request), request.query_params
        look = None
        if "part" in asked or "whole" in asked:
            look = await _asked(parts, Signals, signals_of, SignalsAsked(parts.book.clock_ms(), listed=LISTED))
        if "part" in asked:
            return page(request, "desk/signals-look.html", look=look)
        cases = await asyncio.to_thread(_signal_cases, parts)
        return page(request, "desk/signals.html", cases=cases, look=look, rule=SIGNAL_RULE)

    @get("/numbers.csv", opt=_table_described("The numbers of a look at claims, one member a line"))
    async def numbers(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Every family, at most 500 members of each, the most striking first."""
        parts = parts_of(request)
        look = await _asked(parts, Signals, signals_of, SignalsAsked(parts.book.clock_ms(), listed=MOST_LISTED))
        rows = ([getattr(one, name) for name in _MEMBER_HEAD] for family in look.families for one in family.listed)
        return _table("signals", _MEMBER_HEAD, rows)

    @get("/{family:str}/{name:str}", opt=_described("One lot, mould, station or week in claims"))
    async def member(
        self, request: Request[Any, Any, Any], family: FromPath[str], name: FromPath[str]
    ) -> Response[bytes]:
        """Its survival curve against the rest, with ``part`` or ``whole``; a wait first."""
        known, asked = _family(family), request.query_params
        seen = await _member(request, known, name) if "part" in asked or "whole" in asked else None
        template = "desk/member-look.html" if "part" in asked else "desk/member.html"
        return page(request, template, family=known, name=name, sort=SORT_OF[known], seen=seen)

    @get(
        "/{family:str}/{name:str}/numbers.csv",
        opt=_table_described("The numbers of the survival curves of a member and of the rest"),
    )
    async def curves(
        self, request: Request[Any, Any, Any], family: FromPath[str], name: FromPath[str]
    ) -> Response[bytes]:
        """Kaplan-Meier: at each age with a claim, balls at risk, claims, the share without one and its interval."""
        seen = await _member(request, _family(family), name)
        sides = ((name, seen.curve), ("the rest", seen.rest))
        rows = ([side, *msgspec.structs.astuple(point)] for side, curve in sides for point in curve.points)
        return _table("survival", _POINT_HEAD, rows)


async def _member(request: Request[Any, Any, Any], family: Family, name: str) -> MemberInClaims:
    parts = parts_of(request)
    seen: MemberInClaims = await _asked(
        parts, MemberInClaims, member_in_claims, SignalsAsked(parts.book.clock_ms(), family), name
    )
    return seen


async def _asked(parts: Parts, answer: type[Any], question: Callable[..., Any], *arguments: Any) -> Any:
    return msgspec.json.decode(await parts.long_answer(question, *arguments), type=answer)


def _family(text: str) -> Family:
    known = next((one for one in FAMILIES if one == text), None)
    if known is None:
        raise NotFound("there is no such family", expected=", ".join(FAMILIES), got=text, where="family")
    return known


def _signal_cases(parts: Parts) -> list[CaseSeen]:
    with open_reader(parts.book.store) as reader:
        return [case for case in cases_of(reader) if case.why == "signal" and case.open]


def _table(name: str, head: Sequence[str], rows: Iterable[Sequence[Any]]) -> Response[bytes]:
    text = io.StringIO(newline="")
    table = csv.writer(text)
    table.writerow(head)
    table.writerows([plain(cell) if isinstance(cell, str) else cell for cell in row] for row in rows)
    return file_answer(text.getvalue().encode(), CSV, name=f"{name}.csv")
