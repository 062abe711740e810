"""JSON with a mark in the place of the fact of each reading that it names, and the same with the facts of a ball.

The mark is the name of the quantity between two DEL characters: DEL is in no text of a rulebook or of a record's names.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from itertools import chain
from typing import NamedTuple

_MARK = re.compile(rb"\x7f([a-z_]+)\x7f")


class Parts(NamedTuple):
    """JSON in pieces; ``between``: the names of quantities, the fact of whose reading stands between two pieces."""

    pieces: tuple[bytes, ...]
    between: tuple[str, ...]


Fill = Callable[[Parts], bytes]
"""The JSON of parts, with the facts of a ball."""


def marked(quantity: str) -> str:
    """The mark for the fact of a quantity's reading."""
    return f"\x7f{quantity}\x7f"


def unmarked(mark: str) -> str:
    """The quantity of a mark; of nothing, nothing."""
    return mark.strip("\x7f")


def split_marked(raw: bytes) -> Parts:
    """The JSON in pieces, parted at its marks."""
    parts = _MARK.split(raw)
    return Parts(tuple(parts[::2]), tuple(name.decode() for name in parts[1::2]))


def filler(facts: Mapping[str, bytes]) -> Fill:
    """Fills parts with the facts of a ball, most of whose readings are of one inspection."""
    different = set(facts.values())
    if len(different) == 1:
        (fact,) = different
        return lambda parts: fact.join(parts[0])

    def fill(parts: Parts) -> bytes:
        between = [facts[quantity] for quantity in parts.between]
        return b"".join(chain.from_iterable(zip(parts.pieces, [*between, b""], strict=True)))

    return fill
