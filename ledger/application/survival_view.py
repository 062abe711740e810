"""One member of a family in claims: its rates, survival curve and forecast, and the claims that are counted for it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from ledger.application.signals import Look, SignalsAsked, signal_words
from ledger.errors import MalformedInput, NotFound
from ledger.store.reader import Reader
from ledger.tracing.parts import Certainty
from ledger.warranty.exact_tests import mid_p_by_balls
from ledger.warranty.exposure import DAY_MS, Spells
from ledger.warranty.forecast import MONTH_DAYS, MOST_MONTHS, Forecast, forecast_claims
from ledger.warranty.forecast_picture import draw_forecast
from ledger.warranty.lot_signals import MemberSignal
from ledger.warranty.members import FAMILIES
from ledger.warranty.survival import Curve, LogRank, ages_at_risk, kaplan_meier, log_rank
from ledger.warranty.survival_picture import draw_survival

if TYPE_CHECKING:
    from ledger.warranty.exposure import Flags

MONTHS = 12
MOST_CLAIMS = 500
"""Claims that are named, the newest."""

_RISK_AGES = 6


class ClaimOfMember(msgspec.Struct, frozen=True, kw_only=True):
    """A claim that is counted: the fact that opened it, its ball, the age of that, and how surely the ball is of the member."""

    claim: str
    fact: str
    mode: str
    unit: str
    days: int
    certainty: Certainty


class ByBalls(msgspec.Struct, frozen=True, kw_only=True):
    """Claimed balls among balls, whatever their ages, with mid-P of Fisher's exact test: fair only between balls of like age."""

    claimed: int
    balls: int
    rest_claimed: int
    rest_balls: int
    p: float


class MemberInClaims(msgspec.Struct, frozen=True, kw_only=True):
    """All of one member. ``rest``: the other balls of the same models. ``earlier``: counted claims that are not named."""

    on: str
    member: MemberSignal
    models: tuple[str, ...]
    by_balls: ByBalls
    curve: Curve
    rest: Curve
    log_rank: LogRank | None
    forecast: Forecast
    claims: tuple[ClaimOfMember, ...]
    earlier: int
    says: tuple[str, ...]


class _Sides:
    """The balls of a member, and those of the rest of its models."""

    def __init__(self, reader: Reader, asked: SignalsAsked, name: str) -> None:
        """Raises NotFound, and as `Look`."""
        if asked.family is None:
            raise MalformedInput("a member is of one family", expected=", ".join(FAMILIES), where="family")
        self.look = Look(reader, asked)
        held = self.look.families[asked.family].get(name)
        if held is None:
            raise NotFound(
                f"no ball that was sold is of {asked.family} {name}",
                where="name",
                mend="correct the name or the family",
            )
        self.held = held
        self.title = f"{asked.family} {name}"
        self.member = next(one for one in self.look.looks[asked.family].members if one.name == name)
        cohorts = self.look.exposure.ground.cohorts
        self.models = tuple(sorted({cohorts[place].model for place in held}))
        own, rest = self._flags()
        self.own: Spells = self.look.spells.of(own)
        self.rest: Spells = self.look.spells.of(rest)

    def _flags(self) -> tuple[Flags, Flags]:
        import numpy as np  # noqa: PLC0415  # costs start-up time, and only questions about claims need it

        cohorts = self.look.exposure.ground.cohorts
        own = np.zeros(len(cohorts), np.bool_)
        own[list(self.held)] = True
        like = np.array([cohort.model in self.models for cohort in cohorts])
        return own, like & ~own

    def so_far(self) -> list[int]:
        """The sum of the member's claims at the end of each month before the look, its day the last; at most as many months
        as there are to come.
        """
        end = self.look.asked.before_ms
        opened = sorted(one.opened_ms for one in self.look.exposure.claims if one.cohort in self.held)
        back = round((end - opened[0]) / (MONTH_DAYS * DAY_MS)) + 1 if opened else 1
        marks = [end - month * MONTH_DAYS * DAY_MS for month in range(min(back, MOST_MONTHS), -1, -1)]
        return [sum(one < mark for one in opened) for mark in marks]


def member_in_claims(reader: Reader, asked: SignalsAsked, name: str, months: int = MONTHS) -> MemberInClaims:
    """One member. Raises NotFound, MalformedInput, MalformedQuantity for months that are out of range."""
    sides = _Sides(reader, asked, name)
    forecast = forecast_claims(sides.own, months)
    claims = [one for one in sides.look.exposure.claims if one.cohort in sides.held]
    curve, rest, test = kaplan_meier(sides.own), kaplan_meier(sides.rest), log_rank(sides.own, sides.rest)
    by_balls = ByBalls(
        claimed=curve.claims,
        balls=curve.balls,
        rest_claimed=rest.claims,
        rest_balls=rest.balls,
        p=mid_p_by_balls(curve.claims, curve.balls, rest.claims, rest.balls),
    )
    return MemberInClaims(
        on=sides.look.on,
        member=sides.member,
        models=sides.models,
        by_balls=by_balls,
        curve=curve,
        rest=rest,
        log_rank=test,
        forecast=forecast,
        claims=tuple(
            ClaimOfMember(
                claim=one.claim,
                fact=one.address,
                mode=one.mode,
                unit=one.unit,
                days=one.days,
                certainty=sides.held[one.cohort],
            )
            for one in claims[-MOST_CLAIMS:]
        ),
        earlier=max(0, len(claims) - MOST_CLAIMS),
        says=tuple(_says(sides, curve, rest, forecast)),
    )


def _says(sides: _Sides, curve: Curve, rest: Curve, forecast: Forecast) -> list[str]:
    member = sides.member
    lines = [f"{signal_words(member)}: {member.stands.replace('-', ' ')}"]
    if member.possible_balls:
        lines.append(
            f"{member.possible_balls} of its {member.balls} balls may be its or not, and are counted as if they were"
        )
    if member.alike:
        lines.append(f"it has the same balls as {', '.join(member.alike[:10])}: claims cannot tell them apart")
    age = min(curve.longest, rest.longest)
    lines.append(
        f"after {age:.0f} days {100 * curve.at(age):.2f} % of its balls are without a claim, "
        f"{100 * rest.at(age):.2f} % of the rest"
    )
    if forecast.months:
        end = forecast.months[-1]
        lines.append(
            f"{end.expected:.1f} more claims are expected within {end.month} months ({end.low} to {end.high}) "
            f"of {forecast.at_risk} balls at risk"
        )
    else:
        lines.append(f"no forecast: {forecast.left_out}")
    return [*lines, *forecast.cautions]


def draw_member_survival(reader: Reader, asked: SignalsAsked, name: str) -> str:
    """The curves of a member and of the rest of its models, SVG text. Raises as `member_in_claims`."""
    sides = _Sides(reader, asked, name)
    curves = kaplan_meier(sides.own), kaplan_meier(sides.rest)
    longest = max(curve.longest for curve in curves)
    ages = [longest * step / _RISK_AGES for step in range(_RISK_AGES + 1)]
    at_risk = ages, ages_at_risk(sides.own, ages), ages_at_risk(sides.rest, ages)
    title = f"{sides.title}, as of {sides.look.on}"
    test = log_rank(sides.own, sides.rest)
    return draw_survival(curves, (name, "the rest"), at_risk, title=title, test=test)


def draw_member_forecast(reader: Reader, asked: SignalsAsked, name: str, months: int = MONTHS) -> str:
    """Claims so far and to come, SVG text. Raises as `member_in_claims`, and MalformedQuantity where nothing is forecast."""
    sides = _Sides(reader, asked, name)
    forecast = forecast_claims(sides.own, months)
    return draw_forecast(forecast, sides.so_far(), f"claims to come of {sides.title}, as of {sides.look.on}")
