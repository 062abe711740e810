"""Telling the book what happened, in the order in which it happened, under a clock that follows the story.

Everything goes through `Pourbook.submit`.  What happened within one hour is said together and recorded at its end, so
that the book has the same instants on every run, whatever the machine does.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterable
from concurrent.futures import Future
from typing import Any, NamedTuple

from fixtures_demo.days import HOUR
from ledger.access.tokens import Account
from ledger.application.pourbook import Pourbook
from ledger.line.record import Record
from ledger.line.submission import Submission
from ledger.store.answer import Entered

Records = Iterable[Record] | Callable[[], Iterable[Record]]


class StoryClock:
    """The clock of the service while the story is told."""

    def __init__(self, now_ms: int) -> None:
        """Start at an instant."""
        self.now_ms = now_ms

    def __call__(self) -> int:
        """POSIX milliseconds."""
        return self.now_ms


class _Event(NamedTuple):
    at_ms: int
    number: int
    act: Callable[[], None]


class Story:
    """What is going to happen, by time; ``run`` lets it happen.

    ``entered`` keeps the answer to each submission by its key.  ``notes`` is for what the story wants to remember and
    the book does not hold, such as how often something was refused.
    """

    def __init__(self, book: Pourbook, clock: StoryClock, people: dict[str, Account]) -> None:
        """Nothing happens before ``run``."""
        self.book = book
        self.clock = clock
        self.people = people
        self.entered: dict[str, Entered] = {}
        self.notes: dict[str, int] = {}
        self._events: list[_Event] = []
        self._numbers = itertools.count()
        self._waiting: dict[str, Future[Entered]] = {}

    def say(self, at_ms: int, who: str, key: str, records: Records) -> None:
        """At an instant, ``who`` says records; a function is asked for them then."""
        self.do(at_ms, lambda: self._submit(who, key, records() if callable(records) else records))

    def do(self, at_ms: int, act: Callable[[], None]) -> None:
        """At an instant, do something; what was said before and is needed for it is asked for by ``settle``."""
        heapq.heappush(self._events, _Event(at_ms, next(self._numbers), act))

    def settle(self) -> None:
        """Wait until all that was said stands in the book. Raises what refused it."""
        waiting, self._waiting = self._waiting, {}
        for key, future in waiting.items():
            self.entered[key] = future.result()

    def now(self, who: str, key: str, records: Iterable[Record]) -> Entered:
        """Say records and wait for the answer. Raises what refuses them."""
        self.settle()
        answer: Future[Entered] = self._future(who, key, records)
        self.entered[key] = answer.result()
        return self.entered[key]

    def note(self, what: str, count: int = 1) -> None:
        """Remember that something happened once more."""
        self.notes[what] = self.notes.get(what, 0) + count

    def run(self, until_ms: int, progress: Callable[[int], None] | None = None) -> None:
        """Let everything up to an instant happen; ``progress`` is told the time of the story after each hour."""
        while self._events and self._events[0].at_ms <= until_ms:
            hour_end = min(-(-self._events[0].at_ms // HOUR) * HOUR, until_ms)
            self.clock.now_ms = hour_end
            while self._events and self._events[0].at_ms <= hour_end:
                heapq.heappop(self._events).act()
            self.settle()
            if progress is not None:
                progress(hour_end)
        self.clock.now_ms = until_ms

    def _submit(self, who: str, key: str, records: Iterable[Record]) -> None:
        self._waiting[key] = self._future(who, key, records)

    def _future(self, who: str, key: str, records: Iterable[Record]) -> Any:
        return self.book.submit(Submission(key=key, records=tuple(records)), self.people[who])
