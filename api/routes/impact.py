"""What changes when a rule does, when a gauge was wrong, when a correction lands."""

import datetime as dt
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get
from msgspec import Meta

from api.operation import Operation, described
from api.parts import json_answer, parts_of
from api.request_body import read_query
from api.routes.conformity import BallsToJudge, selection_of
from ledger.application.impact_of_correction import ImpactOfCorrection, impact_of_correction
from ledger.application.impact_of_gauge import ImpactOfGauge, impact_of_gauge
from ledger.application.impact_of_rules import ImpactOfRules, Under, impact_of_rules
from ledger.application.impact_pass import LISTED
from ledger.errors import MalformedInput
from ledger.line.record import Address, DecimalText, Id, On, Slug

Listed = Annotated[int, Meta(ge=0, le=LISTED)]

_PROBLEMS = (404, 413)


class RulesToCompare(BallsToJudge, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which balls, under ``rulebook`` and under ``against``, by default the same; ids, or digests of adopted files.

    ``made_on`` and ``event_on``: after, as if every ball had been made on that day, and for an event on that day;
    ``made_on_before`` and ``event_on_before`` the same before.  ``listed``: the balls that come out otherwise.
    """

    against: Slug | None = None
    made_on: On | None = None
    event_on: On | None = None
    made_on_before: On | None = None
    event_on_before: On | None = None


class GaugeToDoubt(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A gauge that was wrong, and the rulebook by which the balls are judged.

    ``found``: the fact that found it wrong, by default the newest.  ``bias``: in the gauge's unit, what it read too much,
    by default what that calibration found.
    """

    gauge: Id
    rulebook: Slug
    found: Address | None = None
    bias: DecimalText | None = None
    listed: Listed = 0


class CorrectionToLand(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A correction, or a fact that one corrected, and the rulebook by which the balls are judged."""

    fact: Address
    rulebook: Slug
    listed: Listed = 0


class ImpactRoutes(Controller):
    """What changes when ..."""

    path = "/impact"

    @get(
        "/rules",
        opt=described(
            Operation(
                "What changes when the rule does: balls under two editions, or as of two dates",
                "quality",
                action="conformity",
                query=RulesToCompare,
                answer=ImpactOfRules,
                problems=_PROBLEMS,
                may_lag=True,
            )
        ),
    )
    async def rules(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Judge the balls that the query selects both ways."""
        asked = read_query(request, RulesToCompare)
        before, after = sides_of(asked)
        parts, selection = parts_of(request), selection_of(asked)
        return json_answer(await parts.long_answer(impact_of_rules, selection, before, after, listed=asked.listed))

    @get(
        "/gauge",
        opt=described(
            Operation(
                "What changes when a gauge was wrong: every ball measured with it since its last calibration",
                "quality",
                action="conformity",
                query=GaugeToDoubt,
                answer=ImpactOfGauge,
                problems=_PROBLEMS,
                may_lag=True,
            )
        ),
    )
    async def gauge(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Judge the balls as trusted, as the book stands, and with the bias taken out."""
        asked = read_query(request, GaugeToDoubt)
        named = {"found": asked.found, "bias": asked.bias, "listed": asked.listed}
        parts = parts_of(request)
        return json_answer(await parts.long_answer(impact_of_gauge, asked.gauge, asked.rulebook, **named))

    @get(
        "/correction",
        opt=described(
            Operation(
                "What changes when a correction lands: the book with it, against the book without it",
                "quality",
                action="conformity",
                query=CorrectionToLand,
                answer=ImpactOfCorrection,
                problems=_PROBLEMS,
                may_lag=True,
            )
        ),
    )
    async def correction(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Find the balls that it touches, and judge those of which a verdict can change."""
        asked, parts = read_query(request, CorrectionToLand), parts_of(request)
        return json_answer(
            await parts.long_answer(impact_of_correction, asked.fact, asked.rulebook, listed=asked.listed)
        )


def sides_of(asked: RulesToCompare) -> tuple[Under, Under]:
    """Before and after, as a query states them. Raises MalformedInput for a day that no calendar has."""
    before = Under(
        asked.rulebook, _day(asked.made_on_before, "made_on_before"), _day(asked.event_on_before, "event_on_before")
    )
    after = Under(asked.against or asked.rulebook, _day(asked.made_on, "made_on"), _day(asked.event_on, "event_on"))
    return before, after


def _day(on: str | None, where: str) -> dt.date | None:
    """A day of the calendar. Raises MalformedInput."""
    if on is None:
        return None
    try:
        return dt.date.fromisoformat(on)
    except ValueError as error:
        raise MalformedInput("no such day", got=on, where=where, mend="send a date that exists") from error
