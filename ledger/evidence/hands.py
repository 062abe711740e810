"""Who does the parts of a check that rest on no other part: one after another here, or several at once elsewhere.

A part is told by its number.  What it gives is bytes, so that it can come from another process; what it raises says what is
wrong.  Parts change nothing that is needed here, and their faults come in the order of their numbers whoever does them:
the first thing that is wrong stays the first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from typing import Protocol

Work = Callable[[int], bytes]
"""Does one part. Raises LedgerErrors."""


class Hands(Protocol):
    """Whoever does parts of a check."""

    def each(self, work: Work, parts: Sequence[int]) -> Iterator[bytes]:
        """What each of ``parts`` gives, in their order. Raises what the first one raises that does."""
        ...

    def beside(self, work: Work, parts: Sequence[int]) -> AbstractContextManager[None]:
        """Have parts done before what is inside the with statement, or beside it.

        Raises what the first part raises that does, even where what is inside fails too.
        """
        ...


class OneHand:
    """Does one part after another, here."""

    def each(self, work: Work, parts: Sequence[int]) -> Iterator[bytes]:
        """See `Hands.each`."""
        return map(work, parts)

    def beside(self, work: Work, parts: Sequence[int]) -> AbstractContextManager[None]:
        """See `Hands.beside`; they are done before."""
        for part in parts:
            work(part)
        return nullcontext()


ONE_HAND = OneHand()
