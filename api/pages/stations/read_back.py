"""A number read back from the ball, held against the one that was to be engraved, place by place.

What is typed or scanned is taken as the serial rules take it (`ledger.line.serial.parse_serial`): without spaces and
hyphens, ASCII letters in upper case, no character for another.  Its check character is not asked about: a number that
was engraved wrongly must be seen as it stands on the ball.  A scanned label gives the serial that it names.
"""

from __future__ import annotations

from itertools import zip_longest
from typing import NamedTuple

from ledger.line.gs1 import parse_link

LONGEST = 200
"""Characters of what is read back, the address of a label included; more is no number."""


class Place(NamedTuple):
    """One place of the two numbers, counted from 1; a number that is shorter has an empty character there."""

    number: int
    shown: str
    read: str

    @property
    def same(self) -> bool:
        """Whether both have the same character here."""
        return self.shown == self.read


def read_serial(text: str) -> str:
    """The number that was typed or scanned. Raises MalformedLink for an address that names no ball."""
    text = text.strip()[:LONGEST]
    if text.lower().startswith(("http://", "https://")):
        return parse_link(text).serial or ""
    plain = text.replace(" ", "").replace("-", "")
    return "".join(character.upper() if character.isascii() else character for character in plain)


def places(shown: str, read: str) -> list[Place]:
    """Each place of the two, of the longer one all."""
    pairs = zip_longest(shown, read, fillvalue="")
    return [Place(number, one, other) for number, (one, other) in enumerate(pairs, 1)]


def is_read_back(shown: str, read: str) -> bool:
    """Whether the number read back is the one shown."""
    return shown == read
