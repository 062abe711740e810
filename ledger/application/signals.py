"""Signals in claims: one look at the book, every family of lots, moulds, stations and weeks, each member against the rest.

What a signal and its rate mean stands in `ledger.warranty.lot_signals`, what is at risk in `ledger.store.exposures`.
"""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import msgspec

from ledger.conformity.from_rows import day_of
from ledger.errors import MalformedInput
from ledger.line.case_rows import Case
from ledger.line.suspects import Suspect
from ledger.store.exposures import APART, Exposure, read_exposure
from ledger.store.reader import Reader
from ledger.store.selections import every_row
from ledger.warranty.exposure import DAY_MS, Spells, spell_columns
from ledger.warranty.lot_signals import (
    LOOKS_A_YEAR,
    SIGNAL_RULE,
    FamilyLook,
    MemberSignal,
    Q,
    Roll,
    look_at,
    signal_level,
)
from ledger.warranty.members import FAMILIES, Family, Members, family_members
from ledger.warranty.signal_picture import draw_signals, ratio_words
from ledger.warranty.signal_suspects import member_of

LISTED = 20
MOST_LISTED = 500
"""Members of a family that are named, by default and at most."""


class SignalsAsked(NamedTuple):
    """``family``: one alone, or all. ``on``: as of the end of this UTC day (YYYY-MM-DD); None: as of ``now_ms``."""

    now_ms: int
    family: Family | None = None
    q: float = Q
    on: str | None = None
    listed: int = LISTED

    @property
    def before_ms(self) -> int:
        """What happened before this instant is looked at. Raises MalformedInput for a date that is none or to come."""
        if self.on is None:
            return self.now_ms + 1
        try:
            day = dt.date.fromisoformat(self.on) if len(self.on) == 10 else dt.date.fromisoformat("")
        except ValueError as error:
            raise MalformedInput("no such date", expected="YYYY-MM-DD", got=self.on, where="on") from error
        end = (day - dt.date(1970, 1, 1)).days * DAY_MS + DAY_MS
        if end - DAY_MS > self.now_ms:
            raise MalformedInput(
                "the day is to come", expected=f"at most {day_of(self.now_ms)}", got=self.on, where="on"
            )  # fmt: skip
        return min(end, self.now_ms + 1)


class FamilySignals(msgspec.Struct, frozen=True, kw_only=True):
    """One family: how many members there are and could be compared, how many signal or stand out, and the first of them."""

    family: Family
    members: int
    tested: int
    signals: int
    stand_out: int
    listed: tuple[MemberSignal, ...]


class SignalCase(msgspec.Struct, frozen=True, kw_only=True):
    """A case that a signal opened, and whether its member still signals at this look."""

    case: str
    family: Family
    name: str
    open: bool
    still: bool


class Signals(msgspec.Struct, frozen=True, kw_only=True):
    """A look. ``on`` is its last UTC day; ``apart``: fault claims that could not be counted, by reason; ``says``: in words.

    ``cases``: those that signals of these families opened, with whether the signal still stands.
    """

    on: str
    q: float
    level: float
    balls: int
    ball_years: float
    claims: int
    apart: dict[str, int]
    families: tuple[FamilySignals, ...]
    cases: tuple[SignalCase, ...]
    says: tuple[str, ...]
    rule: str = SIGNAL_RULE


class Look:
    """What a look knows, for all that is asked of it."""

    def __init__(self, reader: Reader, asked: SignalsAsked) -> None:
        """One pass over the shipments. Raises MalformedInput, and MalformedQuantity for a ``q`` that is none."""
        signal_level(asked.q)
        self.asked = asked
        self.exposure: Exposure = read_exposure(reader, asked.before_ms)
        self.spells: Spells = spell_columns(self.exposure.spells)
        found = family_members(self.exposure.ground)
        wanted = FAMILIES if asked.family is None else (asked.family,)
        self.families: dict[Family, Members] = {family: found[family] for family in wanted}
        self.looks: dict[Family, FamilyLook] = look_at(
            Roll(self.families, self.exposure.ground.cohorts), self.spells, asked.q
        )

    @property
    def on(self) -> str:
        """The last UTC day of the look."""
        return day_of(self.asked.before_ms - 1).isoformat()


def signals_of(reader: Reader, asked: SignalsAsked) -> Signals:
    """Every family that is asked for. Raises MalformedInput, MalformedQuantity."""
    look = Look(reader, asked)
    families = tuple(_family(one, asked.listed) for one in look.looks.values())
    cases = _cases(reader, look)
    balls, days = int(look.spells.balls.sum()), float((look.spells.balls * look.spells.days).sum())
    return Signals(
        on=look.on,
        q=asked.q,
        level=signal_level(asked.q),
        balls=balls,
        ball_years=days / 365.25,
        claims=len(look.exposure.claims),
        apart=look.exposure.apart,
        families=families,
        cases=cases,
        says=(*_says(look, families), *_gone(cases)),
    )


def _cases(reader: Reader, look: Look) -> tuple[SignalCase, ...]:
    found = []
    for case in every_row(reader.transaction, Case, "\"why\" = 'signal'"):
        member = member_of(msgspec.json.decode(case.suspect, type=Suspect))
        if member is None or member[0] not in look.looks:
            continue
        family, name = member
        still = any(one.name == name and one.stands == "signal" for one in look.looks[family].members)
        found.append(SignalCase(case=case.case, family=family, name=name, open=case.open, still=still))
    return tuple(found)


def _gone(cases: tuple[SignalCase, ...]) -> list[str]:
    return [
        f"case {one.case} is open, and the signal that opened it ({one.family} {one.name}) does not stand at this look: "
        "it is for people to close"
        for one in cases
        if one.open and not one.still
    ]


def _family(look: FamilyLook, listed: int) -> FamilySignals:
    return FamilySignals(
        family=look.family,
        members=len(look.members),
        tested=look.tested,
        signals=sum(one.stands == "signal" for one in look.members),
        stand_out=sum(one.stands == "stands-out" for one in look.members),
        listed=look.members[: min(listed, MOST_LISTED)],
    )


def _says(look: Look, families: tuple[FamilySignals, ...]) -> list[str]:
    asked = look.asked
    lines = [
        f"{len(look.exposure.claims)} fault claims (not rejected, the first of each ball) are counted, as of {look.on}",
        *(f"{count} not counted: {APART[reason]}" for reason, count in look.exposure.apart.items()),
    ]
    for family in families:
        named = [one for one in family.listed if one.stands == "signal"]
        lines += [f"{signal_words(one)} ({'; '.join(_cautions(one)) or 'all its balls for certain'})" for one in named]
    if not any(family.signals for family in families):
        lines.append("no signal")
    lines.append(
        f"a signal: adjusted P of {signal_level(asked.q):.2g} or less, which is q {asked.q:g} over {LOOKS_A_YEAR} looks; where "
        "every ball of a model has the same rate, age for age, weekly looks over a year show one in a family with a "
        f"chance of at most {asked.q:g}"
    )
    lines.append("a signal is a reason to look, no proof of a cause, and holds nothing by itself")
    return lines


def signal_words(one: MemberSignal) -> str:
    """A member in one line: its claims, what was expected, the ratio with its interval, P."""
    words = f"{one.family} {one.name}: {one.compared} claims, {one.expected:.1f} expected, {ratio_words(one)}"
    return words if one.p is None else f"{words}, P {one.p:.2g}, adjusted {one.adjusted:.2g}"


def _cautions(one: MemberSignal) -> list[str]:
    said = []
    if one.possible_balls:
        said.append(f"{one.possible_balls} of {one.balls} balls may be its or not")
    if one.alike:
        more = f" and {len(one.alike) - 3} more" if len(one.alike) > 3 else ""
        said.append(f"has the same balls as {', '.join(one.alike[:3])}{more}: they cannot be told apart")
    return said


def draw_family(reader: Reader, asked: SignalsAsked) -> str:
    """One family as a picture, SVG text. Raises as `signals_of`, and MalformedInput where no family is named."""
    if asked.family is None:
        raise MalformedInput("a picture shows one family", expected=", ".join(FAMILIES), where="family")
    look = Look(reader, asked)
    return draw_signals(look.looks[asked.family], f"claims by {asked.family}, as of {look.on}")
