"""How old an answer may be: said by who asks a question, and filled in by what answered it.

A question that may be answered from a standby (`ledger.store.read_store`) is asked under a `Look` of its own; all its reads go
to one place.  Without one, everything is read from the store itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import NamedTuple


class Shown(NamedTuple):
    """What a standby answered from: a book of ``size`` entries, the last of which was recorded at ``recorded_ms``.

    All that was committed at ``as_of_ms`` is in it, ``age_ms`` before the look began. Both instants are POSIX milliseconds.
    """

    size: int
    recorded_ms: int
    as_of_ms: int
    age_ms: int


class Look:
    """One question. Threads that work on it share it; after an answer ``shown`` says what it was made from."""

    __slots__ = ("least", "long", "short", "shown")

    def __init__(self) -> None:
        """Nothing may be old until `allow` says so."""
        self.least = 0
        self.short = self.long = False
        self.shown: Shown | None = None

    def allow(self, least: int, *, short: bool) -> None:
        """Let a standby answer that has ``least`` entries: long reads, and with ``short`` all others too."""
        self.least, self.short, self.long = least, short, True

    def refuse(self) -> None:
        """From now on the store itself is asked."""
        self.short = self.long = False
        self.shown = None


_at_hand: ContextVar[Look | None] = ContextVar("look", default=None)


def look_at_hand() -> Look | None:
    """The look under which this thread or task works."""
    return _at_hand.get()


@contextmanager
def looking(look: Look) -> Iterator[Look]:
    """Work under a look for the length of the block, and in whatever is started from it."""
    token = _at_hand.set(look)
    try:
        yield look
    finally:
        _at_hand.reset(token)
