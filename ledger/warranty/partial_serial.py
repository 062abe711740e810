"""A number read off a worn ball: which numbers it may be, likeliest first.

A pattern is what was read, place by place; ``?`` is one place that cannot be read, and a backslash before it takes it as
itself.  It may be read in the project's own scheme, where the check character prunes (ISO/IEC 7064 MOD 37,2 is linear, so
it fixes one of the places that were not read), and in that of an earlier one, where any of ``0-9A-Z`` may stand.

Likelihood is that of reading what was read, for each number: a place that was not read says nothing, so every character
of its scheme's alphabet is as likely as another; a place that was read is itself, or a look-alike by the factor of
`look_alikes`.  Figures compare candidates with each other, and say nothing of a number that is not among them.

It does not know which numbers balls bear.
"""

from __future__ import annotations

import itertools
import string
from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Literal, NamedTuple

from ledger.errors import MalformedSerial
from ledger.line.serial import ALPHABET
from ledger.warranty.look_alikes import ALTERNATIVES

Scheme = Literal["own", "prior"]

LONGEST = 20
"""Places of a number that a label can carry."""

MOST_ALIKE = 2
"""Look-alikes taken at a time."""

PRIOR_ALPHABET = string.digits + string.ascii_uppercase
"""What an unreadable place of an earlier scheme is taken to be."""

_OWN_PLACES = 9
_OWN_VALUES = {int(character, 36): character for character in ALPHABET}
_WEIGHTS = tuple(pow(2, _OWN_PLACES - 1 - place, 37) for place in range(_OWN_PLACES))


class Pattern(NamedTuple):
    """A number as read: one character a place, empty for a place that cannot be read; ``typed`` as someone wrote it."""

    typed: str
    places: tuple[str, ...]

    @property
    def unread(self) -> tuple[int, ...]:
        """The places that were not read, from 1."""
        return tuple(place for place, character in enumerate(self.places, 1) if not character)


class Guess(NamedTuple):
    """One way to take a pattern: the same places, some of them by a look-alike of what was read.

    ``alike`` are those places, from 1.  ``likelihood`` is that of each number it stands for.
    """

    scheme: Scheme
    read: tuple[str, ...]
    places: tuple[str, ...]
    alike: tuple[int, ...]
    likelihood: Fraction

    @property
    def unread(self) -> tuple[int, ...]:
        """The places that were not read, from 1."""
        return tuple(place for place, character in enumerate(self.places, 1) if not character)

    @property
    def size(self) -> int:
        """How many numbers it stands for, at most."""
        count = len(self.unread)
        size: int = len(ALPHABET) ** max(count - 1, 0) if self.scheme == "own" else len(PRIOR_ALPHABET) ** count
        return size

    def serials(self) -> Iterator[str]:
        """The numbers, each once."""
        return _own_serials(self.places) if self.scheme == "own" else _prior_serials(self.places)


def parse_pattern(typed: str) -> Pattern:
    """Read a number as typed. Spaces are left out, since no label carries one.

    Raises MalformedSerial for nothing and for more than 20 places.
    """
    places: list[str] = []
    characters = iter(typed.replace(" ", "").strip())
    for character in characters:
        if character == "\\":
            places.append(next(characters, "\\"))
        else:
            places.append("" if character == "?" else character)
    if not 1 <= len(places) <= LONGEST:
        raise MalformedSerial(
            "number has a wrong length",
            expected=f"1 to {LONGEST} places",
            got=len(places),
            where="serial",
            mend="write one ? for each place that cannot be read",
        )
    return Pattern(typed, tuple(places))


def guesses(pattern: Pattern, *, alike: bool = True) -> list[Guess]:
    """Every way to take a pattern, likeliest first; the own scheme before an earlier one where they are alike.

    ``alike``: False for a number that a machine read, of which no place is taken for another.
    """
    found = [*_own_guesses(pattern, alike=alike), *_prior_guesses(pattern, alike=alike)]
    return sorted(found, key=lambda guess: (len(guess.alike), -guess.likelihood, guess.scheme, guess.places))


def chosen(ways: Iterable[Guess], most: int) -> tuple[list[Guess], list[Guess]]:
    """The guesses to look up, likeliest first, as long as they stand for at most so many numbers; and those left out.

    Several look-alikes at once are rare, and many: they are taken where all together stand for a quarter of that.
    """
    taken: list[Guess] = []
    left: list[Guess] = []
    used = 0
    for guess in ways:
        if used + guess.size <= (most if len(guess.alike) < MOST_ALIKE else most // 4):
            used += guess.size
            taken.append(guess)
        else:
            left.append(guess)
    return taken, left


def by_serial(ways: Iterable[Guess]) -> dict[str, Guess]:
    """The numbers that guesses stand for, each with the likeliest guess that gives it."""
    found: dict[str, Guess] = {}
    for guess in sorted(ways, key=lambda guess: -guess.likelihood):
        for serial in guess.serials():
            found.setdefault(serial, guess)
    return found


def _own_guesses(pattern: Pattern, *, alike: bool) -> Iterator[Guess]:
    """Guesses in the own scheme: nine places of its alphabet, typed with or without hyphens, in either case."""
    read = tuple(place.upper() if place.isascii() else place for place in pattern.places if place != "-")
    if len(read) == _OWN_PLACES:
        yield from _taken("own", read, frozenset(ALPHABET), alike=alike)


def _prior_guesses(pattern: Pattern, *, alike: bool) -> Iterator[Guess]:
    upper = tuple(place.upper() if place.isascii() else place for place in pattern.places)
    for read in dict.fromkeys((pattern.places, upper)):
        yield from _taken("prior", read, None, alike=alike)


def _taken(scheme: Scheme, read: tuple[str, ...], alphabet: frozenset[str] | None, *, alike: bool) -> Iterator[Guess]:
    """The ways to take the places of one scheme. A place read as what cannot occur in the scheme must be a look-alike."""
    others = [
        [other for other in ALTERNATIVES.get(place, ()) if alphabet is None or other[0] in alphabet] for place in read
    ]
    forced = [n for n, place in enumerate(read) if place and alphabet is not None and place not in alphabet]
    if len(forced) > MOST_ALIKE or (forced and not alike):
        return
    free = [n for n, place in enumerate(read) if place and n not in forced and others[n]]
    for more in range(MOST_ALIKE - len(forced) + 1 if alike else 1):
        for changed in itertools.combinations(free, more):
            where = sorted((*forced, *changed))
            for taken in itertools.product(*(others[n] for n in where)):
                places, likelihood = list(read), Fraction(1)
                for n, (character, factor) in zip(where, taken, strict=True):
                    places[n] = character
                    likelihood *= factor
                yield Guess(scheme, read, tuple(places), tuple(n + 1 for n in where), likelihood)


def _own_serials(places: tuple[str, ...]) -> Iterator[str]:
    """The numbers of the own scheme that fit: all but one unread place go over the alphabet, the last is what fits.

    The check says that the values, weighted by powers of 2 from the right, sum to 1 modulo 37.
    """
    known = sum(int(place, 36) * _WEIGHTS[n] for n, place in enumerate(places) if place)
    unread = [n for n, place in enumerate(places) if not place]
    if not unread:
        if known % 37 == 1:
            yield "".join(places)
        return
    *free, last = unread
    inverse = pow(_WEIGHTS[last], -1, 37)
    made = list(places)
    values = [[(character, value * _WEIGHTS[n]) for value, character in _OWN_VALUES.items()] for n in free]
    for taken in itertools.product(*values):
        total = known
        for n, (character, weighted) in zip(free, taken, strict=True):
            made[n] = character
            total += weighted
        character = _OWN_VALUES.get((1 - total) * inverse % 37, "")
        if character:
            made[last] = character
            yield "".join(made)


def _prior_serials(places: tuple[str, ...]) -> Iterator[str]:
    return map("".join, itertools.product(*(place or PRIOR_ALPHABET for place in places)))
