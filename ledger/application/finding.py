"""Which ball is it: balls by a number that is half worn, scanned, former, or known by its first places alone.

Every candidate comes with what tells it from the others and how it was found, in the order of likelihood.  Nothing is
chosen for the one who asks: where one ball is left and a place was not read as it is, the answer says so.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from fractions import Fraction
from typing import NamedTuple

import msgspec

from ledger.application.candidate_balls import BallCandidate, Found, candidates_of, units_within
from ledger.application.finding_words import said_of_serial, said_of_stretch
from ledger.errors import MalformedInput, MalformedLink, TooLarge
from ledger.line.gs1 import parse_link
from ledger.line.rows import Allotment, SerialRow
from ledger.store.reader import Reader
from ledger.store.selections import rows_with
from ledger.store.serial_search import (
    MOST_READ,
    Bearings,
    Between,
    Shape,
    bearings_between,
    bearings_like,
    bearings_of,
    bearings_of_model,
    is_within_reach,
)
from ledger.warranty.look_alikes import LOOK_ALIKE_CAUTION
from ledger.warranty.partial_serial import Guess, Pattern, by_serial, chosen, guesses, parse_pattern

MOST_LOOKED_UP = 20_000
"""Numbers that one question looks up: three unread places of the own scheme, two of an earlier one and their look-alikes."""

LISTED = 200
"""Balls that one answer lists, at most."""

_UNREAD_CAUTION = "a place that was not read may be any character, each as likely as another"
_DAY_MS = 86_400_000
_NARROW = "read one of the first places, or name the model and when the ball was made (model, made_from, made_to)"


class Asked(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of a ball: its number as read, or where it begins, or between which two it lies; and of what kind it is.

    ``serial``: ``?`` for a place that cannot be read; or the address that a label's code holds.  Days are ISO dates of
    manufacture in UTC, both inclusive.  ``alike``: False takes no place for a look-alike.
    """

    serial: str = ""
    prefix: str = ""
    first: str = ""
    last: str = ""
    model: str | None = None
    weight_class: int | None = None
    made_from: str | None = None
    made_to: str | None = None
    alike: bool = True
    listed: int = 20


class FoundBalls(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The balls that it may be, likeliest first (with ``prefix`` or ``first``: in the order of their numbers).

    ``count``: how many there are; ``balls`` are the first of them.  ``says``: the answer in words.  ``allotted``: numbers
    that fit, were given to a station, and are on no ball.  ``cautions``: what the order rests on.
    """

    count: int
    says: tuple[str, ...]
    balls: tuple[BallCandidate, ...] = ()
    allotted: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


class _Searched(NamedTuple):
    """What a search of a number found: bearings with the guess that led to each, what was looked up, and what was not."""

    found: list[Found]
    ways: list[Guess]
    notes: list[str]


def find_balls(reader: Reader, asked: Asked) -> FoundBalls:
    """Every ball that what is asked may mean. Raises MalformedInput, MalformedSerial, MalformedLink, and TooLarge.

    Cost: an index step for each number looked up; for a search by first places or by model at most `MOST_READ` rows.
    """
    between = between_of(asked)
    ways = [
        name for name, given in (("serial", asked.serial), ("prefix", asked.prefix), ("first", asked.first)) if given
    ]
    if len(ways) != 1 or bool(asked.first) != bool(asked.last):
        raise MalformedInput(
            "a ball is looked for in one way",
            expected="serial, prefix, or first and last",
            got=", ".join(ways) or "none of them",
            where="serial",
            mend="give one of them; model, weight_class, made_from and made_to narrow each",
        )
    if asked.serial:
        return _by_serial(reader, asked, between)
    return _in_stretch(reader, asked, between)


def is_quick(asked: Asked) -> bool:
    """Whether the question is answered by look-ups alone. Raises what `find_balls` raises for a serial."""
    if not asked.serial:
        return False
    pattern, _ = _pattern_of(asked.serial)
    _, left = chosen(guesses(pattern, alike=False), MOST_LOOKED_UP)
    return not left


def between_of(asked: Asked) -> Between:
    """The stretch that is asked about. Raises MalformedInput for a date that is none."""
    first = None if asked.made_from is None else _day_ms(asked.made_from, "made_from")
    last = None if asked.made_to is None else _day_ms(asked.made_to, "made_to") + _DAY_MS - 1
    return Between(asked.model, asked.weight_class, first, last)


def _day_ms(text: str, where: str) -> int:
    try:
        day = dt.date.fromisoformat(text)
    except ValueError as error:
        raise MalformedInput(
            "no such date", expected="YYYY-MM-DD", got=text, where=where, mend="send the date as YYYY-MM-DD"
        ) from error
    return (day.toordinal() - dt.date(1970, 1, 1).toordinal()) * _DAY_MS


def _pattern_of(text: str) -> tuple[Pattern, str]:
    """What was read, and the GTIN of the label where a label was scanned; such a number is taken as it is."""
    if not text.strip().lower().startswith(("http://", "https://")):
        return parse_pattern(text), ""
    link = parse_link(text.strip())
    if link.serial is None:
        raise MalformedLink(
            "label names no ball",
            expected="an address with a serial, /21/ and the number",
            got=text,
            where="serial",
            mend="scan the label of the ball; a traveller's names its lot, which GET /lots/{lot} shows",
        )
    return Pattern(link.serial, tuple(link.serial)), link.gtin14


def _by_serial(reader: Reader, asked: Asked, between: Between) -> FoundBalls:
    pattern, gtin = _pattern_of(asked.serial)
    searched = _search(reader, pattern, between, alike=asked.alike and not gtin)
    found = units_within(reader, searched.found, between)
    rest = sum((one.likelihood for one in found), Fraction(0))
    balls = candidates_of(reader, found[: asked.listed], rest, gtin=gtin)
    cautions = [_UNREAD_CAUTION] if pattern.unread else []
    cautions += [LOOK_ALIKE_CAUTION] if any(one.guess is not None and one.guess.alike for one in found) else []
    return FoundBalls(
        count=len(found),
        says=(*said_of_serial(pattern, found, balls), *searched.notes),
        balls=balls,
        allotted=_allotted(reader, searched),
        cautions=tuple(cautions),
    )


def _search(reader: Reader, pattern: Pattern, between: Between, *, alike: bool) -> _Searched:
    taken, left = chosen(guesses(pattern, alike=alike), MOST_LOOKED_UP)
    serials = by_serial(taken)
    found = [Found(row, serials[row.serial]) for row in bearings_of(reader, serials)]
    notes = []
    plain = [guess for guess in left if not guess.alike]
    if plain:
        shape = Shape(plain[0].places)
        scanned = _scan(reader, shape, between)
        if scanned is not None:
            found += [Found(row, plain[0]) for row in scanned.rows if row.serial not in serials]
            notes.append("numbers of earlier schemes were searched for without look-alikes")
        elif taken:
            notes.append(f"numbers of earlier schemes were not searched, too many would fit: {_NARROW}")
        else:
            raise _too_many("too many numbers fit what was read", "serial")
    elif left:
        notes.append(f"the rarer look-alikes were not searched: {len(taken)} of {len(taken) + len(left)} readings were")
    return _Searched(found, taken, notes)


def _scan(reader: Reader, shape: Shape, between: Between) -> Bearings | None:
    """All of a shape, by its first places or by its model; None where either way would read too much."""
    if shape.prefix and is_within_reach(reader, shape):
        return bearings_like(reader, shape, between, MOST_READ)
    return None if between.model is None else bearings_of_model(reader, shape, between, MOST_READ)


def _in_stretch(reader: Reader, asked: Asked, between: Between) -> FoundBalls:
    if asked.prefix:
        shape = Shape(tuple(asked.prefix.strip()), open=True)
        found = (
            bearings_like(reader, shape, between, asked.listed + 1)
            if is_within_reach(reader, shape)
            else None if between.model is None else bearings_of_model(reader, shape, between, asked.listed + 1)
        )  # fmt: skip
    else:
        found = bearings_between(reader, asked.first.strip(), asked.last.strip(), between, asked.listed + 1)
    if found is None:
        raise _too_many("too many numbers lie there", "prefix" if asked.prefix else "first")
    rows = [Found(row, None) for row in found.rows[: asked.listed]]
    balls = candidates_of(reader, rows, Fraction(0))
    return FoundBalls(count=found.total, says=said_of_stretch(found.total, len(balls)), balls=balls)


def _too_many(problem: str, where: str) -> TooLarge:
    return TooLarge(problem, expected=f"at most {MOST_READ:,}", got="more", where=where, mend=_NARROW)


def _allotted(reader: Reader, searched: _Searched) -> tuple[str, ...]:
    """Numbers of the own scheme that fit as read and were allotted, and that no ball bears or bore."""
    wanted = [name for way in searched.ways if way.scheme == "own" and not way.alike for name in way.serials()]
    borne = {one.row.serial for one in searched.found}
    rows: Iterable[Allotment] = rows_with(reader, Allotment, "serial", wanted) if wanted else ()
    return tuple(sorted(row.serial for row in rows if row.serial not in borne))[:LISTED]


def bearing_rows(reader: Reader, serial: str) -> list[SerialRow]:
    """Every bearing of a number that is known in full, as an import names it: typed in any form, taken for no other."""
    pattern = Pattern(serial, tuple(serial.replace(" ", "").strip()))
    return bearings_of(reader, by_serial(guesses(pattern, alike=False)))
