"""What a record kind gives the writer: its needs, its check and its effects, and what it is about."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Literal, NamedTuple

import msgspec

from ledger.line.fact import Breach, Fact
from ledger.line.record import Record
from ledger.line.state import Need, State


class Setting(msgspec.Struct, frozen=True):
    """The circumstances of a check besides the state: who says it, when the service takes it, at which address."""

    now_ms: int
    author: str
    index: int
    position: int
    asking: bool = False
    """True when a station only asks whether it may act now: nothing is entered."""

    @property
    def address(self) -> str:
        """The address that the fact will have."""
        return f"{self.index}.{self.position}"

    @property
    def taken_ms(self) -> int | None:
        """The instant that the record's times cannot lie after; none where a station asks about a time to come."""
        return None if self.asking else self.now_ms


class Kind(NamedTuple):
    """A record kind.

    ``sort``: a *report* happened and is entered with its breaches; a *decision* is refused when a rule stands against it.
    ``needs(record, state)`` yields what ``check`` and ``effects`` read; it is asked again until nothing new comes, so it
    may follow what is loaded already (a lot to its parents), and must not assume that anything is.
    ``check(record, state, setting)`` returns breaches, or raises a `Refused`; it changes nothing.
    ``effects(fact, state)`` puts rows; it reads only rows of the nodes that it writes.
    ``about(record)`` names every node whose rows ``effects`` writes, and the nodes whose history should show the fact.
    ``recheck(fact, state)`` gives the breaches that a later correction above the fact may have brought; it looks at
    windows and standing only, never at what the fact itself used up.
    """

    record: type[Record]
    sort: Literal["report", "decision"]
    needs: Callable[[Any, State], Iterable[Need]]
    check: Callable[[Any, State, Setting], list[Breach]]
    effects: Callable[[Fact, State], None]
    about: Callable[[Any], Iterable[str]]
    recheck: Callable[[Fact, State], list[Breach]] | None = None
