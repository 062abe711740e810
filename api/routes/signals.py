"""Signals in claims: lots, moulds, stations and weeks against the rest, as data and as pictures (SVG)."""

from collections.abc import Callable
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath
from msgspec import Meta

from api.operation import Operation, described
from api.parts import file_answer, json_answer, parts_of
from api.request_body import read_query
from ledger.application.signals import LISTED, MOST_LISTED, Signals, SignalsAsked, draw_family, signals_of
from ledger.application.survival_view import (
    MONTHS,
    MemberInClaims,
    draw_member_forecast,
    draw_member_survival,
    member_in_claims,
)
from ledger.errors import NotFound
from ledger.line.record import On
from ledger.warranty.forecast import MOST_MONTHS
from ledger.warranty.lot_signals import Q
from ledger.warranty.members import FAMILIES, Family

SVG = "image/svg+xml"
_ALONE = {"content-security-policy": "default-src 'none'; sandbox"}
_PROBLEMS = (404, 413)


class MemberWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``q``: the rate of false signals in a family within a year of weekly looks.

    ``on``: as of the end of this UTC day, today by default; ``months``: how far the forecast goes.
    """

    q: Annotated[float, Meta(gt=0, lt=1)] = Q
    on: On | None = None
    months: Annotated[int, Meta(ge=1, le=MOST_MONTHS)] = MONTHS


class SignalsWanted(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``family``: one alone, which a picture needs; ``q`` and ``on`` as for a member; ``listed``: members named of each."""

    family: Family | None = None
    q: Annotated[float, Meta(gt=0, lt=1)] = Q
    on: On | None = None
    listed: Annotated[int, Meta(ge=0, le=MOST_LISTED)] = LISTED


class SignalRoutes(Controller):
    """What the claims say of what balls share."""

    @get(
        "/signals",
        opt=described(
            Operation(
                "Claims against exposure for every lot, mould, station and week: exact tests, false discovery rate, ratios",
                "warranty",
                action="signals",
                query=SignalsWanted,
                answer=Signals,
                problems=(413,),
                may_lag=True,
            )
        ),
    )
    async def signals(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A look; it opens no case."""
        return json_answer(await parts_of(request).long_answer(signals_of, _asked(request)))

    @get(
        "/signals.svg",
        opt=described(
            Operation(
                "One family as a picture: ratios with their intervals",
                "warranty",
                action="signals",
                query=SignalsWanted,
                media=SVG,
                problems=_PROBLEMS,
                may_lag=True,
            )
        ),
    )
    async def family_picture(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """The picture of `signals`."""
        return await _picture(request, draw_family, _asked(request))

    @get(
        "/signals/{family:str}/{name:str}",
        opt=described(
            Operation(
                "One member: its rates, survival curve, forecast, and the claims that are counted",
                "warranty",
                action="signals",
                query=MemberWanted,
                answer=MemberInClaims,
                problems=_PROBLEMS,
                may_lag=True,
            )
        ),
    )
    async def member(
        self, request: Request[Any, Any, Any], family: FromPath[str], name: FromPath[str]
    ) -> Response[bytes]:
        """The member as of a day."""
        wanted, asked = _of_member(request, family)
        return json_answer(await parts_of(request).long_answer(member_in_claims, asked, name, wanted.months))

    @get(
        "/signals/{family:str}/{name:str}/survival.svg",
        opt=described(
            Operation(
                "Kaplan-Meier curves of a member and of the rest of its models, with numbers at risk",
                "warranty",
                action="signals",
                query=MemberWanted,
                media=SVG,
                problems=_PROBLEMS,
                may_lag=True,
            )
        ),
    )
    async def survival(
        self, request: Request[Any, Any, Any], family: FromPath[str], name: FromPath[str]
    ) -> Response[bytes]:
        """The picture of the curves of `member`."""
        _, asked = _of_member(request, family)
        return await _picture(request, draw_member_survival, asked, name)

    @get(
        "/signals/{family:str}/{name:str}/forecast.svg",
        opt=described(
            Operation(
                "Claims so far and claims to come of a member, with their interval",
                "warranty",
                action="signals",
                query=MemberWanted,
                media=SVG,
                problems=_PROBLEMS,
                may_lag=True,
            )
        ),
    )
    async def forecast(
        self, request: Request[Any, Any, Any], family: FromPath[str], name: FromPath[str]
    ) -> Response[bytes]:
        """The picture of the forecast of `member`."""
        wanted, asked = _of_member(request, family)
        return await _picture(request, draw_member_forecast, asked, name, wanted.months)


def _asked(request: Request[Any, Any, Any]) -> SignalsAsked:
    wanted = read_query(request, SignalsWanted)
    now_ms = parts_of(request).book.clock_ms()
    return SignalsAsked(now_ms, wanted.family, wanted.q, wanted.on, wanted.listed)


def _of_member(request: Request[Any, Any, Any], family: str) -> tuple[MemberWanted, SignalsAsked]:
    known = next((one for one in FAMILIES if one == family), None)
    if known is None:
        raise NotFound(
            "there is no such family",
            expected=", ".join(FAMILIES),
            got=family,
            where="family",
            mend="ask for one of these families",
        )
    wanted = read_query(request, MemberWanted)
    return wanted, SignalsAsked(parts_of(request).book.clock_ms(), known, wanted.q, wanted.on)


async def _picture(request: Request[Any, Any, Any], draw: Callable[..., str], *asked: Any) -> Response[bytes]:
    text = msgspec.json.decode(await parts_of(request).long_answer(draw, *asked), type=str)
    return file_answer(text.encode(), SVG, headers=_ALONE)
