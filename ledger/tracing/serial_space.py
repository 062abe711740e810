"""The serials that a scheme can give, place by place: whether two schemes may give one serial, and whether one gave this.

A space is a set of characters for each place, and whether more places may follow (a prefix).  The check character of the
project's own scheme is left out of it: what it rules out is ruled out by `ledger.warranty.partial_serial`, and two
schemes of which it alone would keep one serial apart count as overlapping.
"""

from __future__ import annotations

import re
import string
from collections.abc import Sequence
from typing import NamedTuple

from ledger.errors import MalformedSerial
from ledger.line.serial import ALPHABET, PatternScheme, check_serial_text
from ledger.warranty.partial_serial import Scheme

_CLASSES = {
    "A": frozenset(string.ascii_uppercase),
    "9": frozenset(string.digits),
    "?": frozenset(string.digits + string.ascii_uppercase),
}
_OWN_PLACES = 9


class SerialSpace(NamedTuple):
    """``places``: what each place may be; with ``open`` any more may follow, up to what a label carries."""

    words: str
    scheme: Scheme
    places: tuple[frozenset[str], ...]
    open: bool = False

    def holds(self, places: Sequence[str]) -> bool:
        """Whether a serial, read place by place (empty for one that was not read), can be one of these."""
        if len(places) < len(self.places) or (len(places) > len(self.places) and not self.open):
            return False
        return all(not read or read in may for read, may in zip(places, self.places, strict=False))

    def overlaps(self, other: SerialSpace) -> bool:
        """Whether some serial can be of both."""
        shorter, longer = (self, other) if len(self.places) <= len(other.places) else (other, self)
        if len(shorter.places) < len(longer.places) and not shorter.open:
            return False
        return not any(map(frozenset.isdisjoint, shorter.places, longer.places))


OWN_SPACE = SerialSpace("the own scheme", "own", (frozenset(ALPHABET),) * _OWN_PLACES)
"""The project's own scheme: the same serials under every key."""


def pattern_space(pattern: str) -> SerialSpace:
    """The space of a pattern as a plant's scheme has it (`PatternScheme`). Raises MalformedSerial."""
    PatternScheme(pattern)
    places = re.findall(r"\\.|.", pattern, re.DOTALL)
    return SerialSpace(
        f"pattern {pattern}", "prior", tuple(_CLASSES.get(place) or frozenset(place[-1]) for place in places)
    )


def prefix_space(prefix: str) -> SerialSpace:
    """The space of all serials that begin so, of whatever length. Raises MalformedSerial."""
    try:
        check_serial_text(prefix)
    except MalformedSerial as error:
        raise MalformedSerial(
            error.problem.replace("serial", "serial prefix", 1), expected=error.expected, got=error.got
        ) from error
    return SerialSpace(f"prefix {prefix}", "prior", tuple(map(frozenset, prefix)), open=True)
