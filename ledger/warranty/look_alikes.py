"""Characters that wear makes look alike, as data, and how likely one is read for the other.

Common practice, no source: the pairs are those that an engraver names, the factors are an order of likelihood and no
measurement.  A factor is how likely a place that bears one character is read as the other, against being read rightly.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

LOOK_ALIKE_CAUTION = (
    "which characters wear makes look alike, and how likely, is common practice, no source: an order, no measurement"
)
"""What a user is told beside every candidate that rests on this table."""


class LookAlike(NamedTuple):
    """Two characters that may be read for each other."""

    one: str
    other: str
    factor: Fraction


OFTEN = Fraction(1, 10)
SELDOM = Fraction(1, 40)

LOOK_ALIKES: tuple[LookAlike, ...] = (
    *(
        LookAlike(one, other, OFTEN)
        for one, other in ("38", "8B", "5S", "2Z", "0O", "0D", "0Q", "OQ", "1I", "1L", "6G")
    ),
    *(
        LookAlike(one, other, SELDOM)
        for one, other in ("3B", "56", "68", "17", "7T", "CG", "DO", "EF", "IL", "PR", "UV", "VY")
    ),
)
"""The pairs, likeliest first. Of the project's own alphabet only the pairs whose both characters it has can occur."""


def _alternatives() -> dict[str, tuple[tuple[str, Fraction], ...]]:
    found: dict[str, list[tuple[str, Fraction]]] = {}
    for pair in LOOK_ALIKES:
        found.setdefault(pair.one, []).append((pair.other, pair.factor))
        found.setdefault(pair.other, []).append((pair.one, pair.factor))
    return {character: tuple(sorted(others, key=lambda other: -other[1])) for character, others in found.items()}


ALTERNATIVES = _alternatives()
"""By character as read: what it may be instead, likeliest first, with the factor."""
