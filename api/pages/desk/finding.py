"""The one field in which a ball is looked for, and what to ask next so that one ball is left."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import NamedTuple
from urllib.parse import urlencode

from ledger.application.candidate_balls import BallCandidate
from ledger.application.finding import LISTED, Asked
from ledger.errors import MalformedInput

QUESTIONS = 2
"""Questions that are proposed at once."""

MOST_CHOICES = 8
"""A question with more answers than these tells nothing over the phone."""


class Sought(NamedTuple):
    """What is known of a ball, as typed. ``q``: its number with ``?`` for unread places, its beginning and ``*``, or
    ``first..last``; or the address that a label holds.
    """

    q: str = ""
    model: str = ""
    weight: str = ""
    colour: str = ""
    made_from: str = ""
    made_to: str = ""
    alike: str = "yes"

    @property
    def narrows(self) -> bool:
        """Whether anything but the number is said."""
        return any((self.model, self.weight, self.colour, self.made_from, self.made_to)) or self.alike != "yes"

    def address(self, **changes: str) -> str:
        """The address that asks this, with changes."""
        asked = {**self._asdict(), **changes}
        return f"/desk?{urlencode({name: text for name, text in asked.items() if text and (name, text) != ('alike', 'yes')})}"


class Choice(NamedTuple):
    """An answer to a question: the value as data, how many balls it leaves, and where it leads."""

    value: str
    balls: int
    address: str


class Question(NamedTuple):
    """What to ask next: ``weight``, ``colour``, ``model``, ``made`` or ``place``; ``place`` is the one of the number."""

    what: str
    choices: tuple[Choice, ...]
    place: int = 0


class Character(NamedTuple):
    """One character of a number; ``form``: ``unread``, ``alike``, or empty for one as read."""

    text: str
    form: str


def asked_of(sought: Sought) -> Asked:
    """The search. Raises MalformedInput for a weight that is no whole number."""
    text = sought.q.strip()
    first, dots, last = text.partition("..")
    way = {"serial": text}
    if dots and not text.lower().startswith("http"):
        way = {"first": first.strip(), "last": last.strip()}
    elif text.endswith("*"):
        way = {"prefix": text.rstrip("*")}
    return Asked(
        **way,
        model=sought.model or None,
        weight_class=_weight(sought.weight),
        made_from=sought.made_from or None,
        made_to=sought.made_to or None,
        alike=sought.alike == "yes",
        listed=LISTED,
    )


def _weight(text: str) -> int | None:
    if not text:
        return None
    if not text.isascii() or not text.isdecimal():
        raise MalformedInput(
            "weight is no whole number of pounds", got=text, where="weight", mend="choose one of the list"
        )
    return int(text)


def of_colour(balls: Sequence[BallCandidate], colour: str) -> list[BallCandidate]:
    """The balls one of whose colours has this word in it; all for none."""
    wanted = colour.strip().casefold()
    return [ball for ball in balls if any(wanted in one.casefold() for one in ball.colours)] if wanted else list(balls)


def characters(ball: BallCandidate) -> list[Character]:
    """The number that fits, place by place, marked where it is not what was read."""
    forms = {one.place: "alike" if one.read else "unread" for one in ball.differs}
    return [Character(text, forms.get(place, "")) for place, text in enumerate(ball.serial, 1)]


def questions(balls: Sequence[BallCandidate], sought: Sought) -> list[Question]:
    """What to ask next, what leaves the fewest balls on average first; nothing where one is left or nothing tells."""
    if len(balls) < 2:  # two are what there is to tell apart
        return []
    asked = [
        _question(balls, "weight", lambda ball: str(ball.weight_class_lb or ""), lambda v: sought.address(weight=v)),
        _question(balls, "colour", lambda ball: " / ".join(ball.colours), lambda v: sought.address(colour=v.split(" / ")[0])),
        _question(balls, "model", lambda ball: ball.model or "", lambda v: sought.address(model=v)),
        _question(
            balls, "made", lambda ball: ball.made_on[:4],
            lambda v: sought.address(made_from=f"{v}-01-01", made_to=f"{v}-12-31"),
        ),
        *(_of_place(balls, place, sought) for place in _unread(sought.q)),
    ]  # fmt: skip
    telling = [one for one in asked if 2 <= len(one.choices) <= MOST_CHOICES]
    return sorted(telling, key=_left)[:QUESTIONS]


def _question(
    balls: Sequence[BallCandidate], what: str, of: Callable[[BallCandidate], str], address: Callable[[str], str]
) -> Question:
    counts = Counter(value for ball in balls if (value := of(ball)))
    return Question(what, tuple(Choice(value, count, address(value)) for value, count in sorted(counts.items())))


def _unread(typed: str) -> list[int]:
    """The places of a typed number that were not read, where each sign stands for one place."""
    return [place for place, sign in enumerate(typed, 1) if sign == "?"] if typed.isalnum() or _is_plain(typed) else []


def _is_plain(typed: str) -> bool:
    return all(sign.isalnum() or sign in "?-" for sign in typed)


def _of_place(balls: Sequence[BallCandidate], place: int, sought: Sought) -> Question:
    def read(value: str) -> str:
        return sought.address(q=sought.q[: place - 1] + value + sought.q[place:])

    found = _question(balls, "place", lambda ball: ball.serial[place - 1 : place], read)
    return found._replace(place=place)


def _left(question: Question) -> float:
    """How many balls are left on average after the answer."""
    return sum(choice.balls**2 for choice in question.choices) / sum(choice.balls for choice in question.choices)
