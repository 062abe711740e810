"""The answer to "which ball is it" in words: how many, by what, and never one ball for certain that rests on a guess."""

from __future__ import annotations

from collections.abc import Sequence

from ledger.application.candidate_balls import BallCandidate, Found, PlaceTaken
from ledger.errors import MalformedSerial
from ledger.line.serial import ALPHABET, parse_serial
from ledger.warranty.partial_serial import Pattern


def said_of_serial(pattern: Pattern, found: Sequence[Found], balls: Sequence[BallCandidate]) -> tuple[str, ...]:
    """The headline: balls as read, then what look-alikes add."""
    plain = sum(1 for one in found if one.guess is not None and not one.guess.alike)
    alike = len(found) - plain
    said = [_unread(pattern, plain) if pattern.unread else _as_read(plain)]
    if alike:
        first = next((ball for ball in balls if ball.how == "by look-alike"), None)
        said.append(_look_alikes(alike, () if first is None else first.differs))
    if len(found) > len(balls):
        said.append(
            f"the likeliest {len(balls)} of {len(found):,} are listed; the model or the day of making narrows them"
        )
    return (*said, *_check_said(pattern))


def said_of_stretch(count: int, listed: int) -> tuple[str, ...]:
    """How many bear or bore a number of a stretch."""
    said = f"{_balls(count)} {'bears or bore' if count < 2 else 'bear or bore'} such a number"
    return (said,) if count == listed else (said, f"the first {listed} are listed")


def _as_read(count: int) -> str:
    if count == 0:
        return "no ball bears the number as read"
    if count == 1:
        return "1 ball bears or bore the number as read"
    return f"{count:,} balls bear or bore the number as read: numbers of earlier schemes repeat"


def _unread(pattern: Pattern, count: int) -> str:
    many = len(pattern.unread) > 1
    places = f"place{'s' if many else ''} {_listed(pattern.unread)} {'were' if many else 'was'} not read"
    if count == 0:
        return f"no ball fits what was read; {places}"
    return f"{_balls(count)} of this book {'fits' if count == 1 else 'fit'} what was read; {places}"


def _look_alikes(count: int, differs: Sequence[PlaceTaken]) -> str:
    taken = [one for one in differs if one.read]
    if not taken:
        return f"{_balls(count)} more by look-alikes"
    where = " and ".join(f"place {one.place} was a {one.bears} read as {one.read}" for one in taken)
    return f"{_balls(count)} if {where}" if count == 1 else f"{count:,} balls by look-alikes, likeliest if {where}"


def _check_said(pattern: Pattern) -> tuple[str, ...]:
    """Whether a number that was read in full, and can only be of the own scheme's form, has the right check character."""
    text = "".join(pattern.places).replace("-", "").upper()
    if pattern.unread or len(text) != 9 or not set(text) <= set(ALPHABET):
        return ()
    try:
        parse_serial(text)
    except MalformedSerial:
        return ("as a number of this project's scheme its check character does not fit: at least one place is misread",)
    return ()


def _balls(count: int) -> str:
    return "1 ball" if count == 1 else f"{count:,} balls" if count else "no ball"


def _listed(places: Sequence[int]) -> str:
    *most, last = map(str, places)
    return f"{', '.join(most)} and {last}" if most else last
