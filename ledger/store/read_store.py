"""A standby that answers what may be old, so that stations do not wait for those who read.

How old it is, is measured and not asked of it: each second the service notes how far the primary has written its log, and a
standby that has applied that much shows all that was committed by then.  So its age is an upper bound by this process's
clock alone, whatever the two servers think the time is, and also where nothing reaches the standby any more, which from
its own side (all applied that was received) looks current.

It is not asked while it is older than the limit, does not follow, cannot be reached, or is of another store or program;
then the primary answers, which is counted by its reason.  Where nothing is heard of it any more, its connections are cut, so
that whoever waits for an answer on one is answered by the primary.
"""

from __future__ import annotations

import logging
import os
import socket
import threading
import time
from collections import Counter, deque
from collections.abc import Callable
from contextlib import suppress
from typing import Any
from weakref import WeakSet

from sqlalchemy import event

from ledger.errors import LedgerError, StoreUnavailable
from ledger.store.engine import CONNECTIONS, Store, open_store
from ledger.store.look import Shown
from ledger.store.standby import Applied, standby_look, store_kind, written_place

EVERY_S = 1.0
"""How often the primary and the standby are looked at."""

LATE_TURNS = 5
"""A standby that was not heard of for so many turns is not asked, and its connections are cut."""

_WHERE = "read store"

LOG = logging.getLogger("pourbook.read_store")


class ReadStore:
    """The standby of a store. `start` it, `stop` it; any thread may ask."""

    def __init__(
        self,
        url: str,
        primary: Store,
        limit_s: float,
        *,
        connections: int = CONNECTIONS,
        statement_s: float = 0,
        clock_s: Callable[[], float] = time.monotonic,
        clock_ms: Callable[[], int] = lambda: time.time_ns() // 1_000_000,
    ) -> None:
        """Nothing is opened yet. ``limit_s``: the age above which it is not asked; the others: see `open_store`."""
        self.url = url
        self.limit_s = limit_s
        self._primary = primary
        self._connections_most, self._statement_s = connections, statement_s
        self._clock_s, self._clock_ms = clock_s, clock_ms
        self._written: deque[tuple[float, int]] = deque()
        self._lock = threading.Lock()
        self._store: Store | None = None
        self._state = "unknown"
        self._heard_s = 0.0
        self.found_age_s: float | None = None
        """At most how old the standby was when it was last looked at; None for older than is known."""
        self._answers: Counter[str] = Counter()
        self._stopping = threading.Event()
        self._connections: WeakSet[Any] = WeakSet()
        self.on_cut: list[Callable[[], None]] = []
        """Called when the standby's connections are cut, for those of other processes."""
        self._threads = [
            threading.Thread(target=self._each_turn, args=(each,), name="read-store", daemon=True)
            for each in (self.turn, self.guard)
        ]

    def start(self) -> None:
        """Begin to look at both servers."""
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End that, and close every connection."""
        self._stopping.set()
        for thread in self._threads:
            while thread.is_alive():
                thread.join(EVERY_S)
                if thread.is_alive():  # it waits for a server that does not answer
                    self._cut()
        if self._store is not None:
            self._store.close()

    @property
    def state(self) -> str:
        """``usable``, or why it is not asked: ``unknown``, ``behind``, ``away``, ``other``."""
        return "away" if self._state == "usable" and self._is_late() else self._state

    @property
    def answers(self) -> Counter[str]:
        """How many questions were answered from it (``standby``), or by the primary, by the reason."""
        with self._lock:
            return Counter(self._answers)

    def count(self, reason: str) -> None:
        """Count a question that might have been old."""
        with self._lock:
            self._answers[reason] += 1

    def opened(self) -> Store:
        """The standby, opened without a migration and for reading only. Raises StoreUnavailable."""
        with self._lock:
            if self._store is None:
                self._store = open_store(
                    self.url,
                    migrate=False,
                    read_only=True,
                    connections=self._connections_most,
                    statement_s=self._statement_s,
                )
                event.listen(
                    self._store.engine, "connect", lambda connection, _record: self._connections.add(connection)
                )
                self._store.engine.dispose()  # the one by which it was tried is not known
            return self._store

    def turn(self) -> None:
        """Note how far the primary is, and how the standby stands; never raises for either of them."""
        self._note_written()
        before = self._state
        try:
            self._state = self._found()
        except (LedgerError, self._primary.dialect.errors):
            self._state = "away"
        if self._state != before:
            level = logging.INFO if self._state == "usable" else logging.WARNING
            LOG.log(level, "read store: %s", self._state)

    def guard(self) -> None:
        """Cut every connection to a standby that nothing was heard of for some turns."""
        if self._is_late():
            self._cut()

    def _is_late(self) -> bool:
        return self._heard_s > 0 and self._clock_s() - self._heard_s > LATE_TURNS * EVERY_S

    def _cut(self) -> None:
        for connection in list(self._connections):
            # One that is closed has no socket; of an open one whoever waits on it is woken, and finds it ended.
            with (
                suppress(OSError, self._primary.dialect.errors),
                socket.socket(fileno=os.dup(connection.fileno())) as end,
            ):
                end.shutdown(socket.SHUT_RDWR)
        for cut in self.on_cut:
            cut()

    def _note_written(self) -> None:
        asked_s = self._clock_s()
        try:
            transaction = self._primary.transaction()
            try:
                place = written_place(transaction)
            finally:
                transaction.close()
        except (LedgerError, self._primary.dialect.errors):
            return
        with self._lock:
            self._written.append((asked_s, place))
            # The last one that is older than the limit stays: what has applied no more than that is too old.
            while len(self._written) > 1 and asked_s - self._written[1][0] > self.limit_s:
                self._written.popleft()

    def _found(self) -> str:
        with standby_look(self.opened()) as (transaction, applied):
            kind = store_kind(transaction)
        with self._primary.reading() as transaction:
            own = store_kind(transaction)
        self._heard_s = self._clock_s()
        if kind != own:
            return "other"
        self.found_age_s = age_s = self.age_s(applied.place)
        return "behind" if age_s is None or age_s > self.limit_s else "usable"

    def age_s(self, place: int) -> float | None:
        """At most how old a look is that has applied the log up to ``place``; None for older than is known."""
        now_s = self._clock_s()
        with self._lock:
            for noted_s, written in reversed(self._written):
                if written <= place:
                    return now_s - noted_s
        return None

    def shown(self, applied: Applied, least: int) -> Shown:
        """What a look shows, where it may answer; counts it. Raises StoreUnavailable where it may not."""
        age_s = self.age_s(applied.place)
        if age_s is None or age_s > self.limit_s:
            raise _passed("behind")
        if applied.size < least:
            raise _passed("needs-newer")
        age_ms = round(age_s * 1000)
        self.count("standby")
        return Shown(applied.size, applied.recorded_ms, self._clock_ms() - age_ms, age_ms)

    def failed(self, error: BaseException) -> None:
        """A question was not answered by the standby, and is asked of the primary: count why."""
        if isinstance(error, StoreUnavailable) and error.where == _WHERE:
            self.count(str(error.got))
            return
        cause = error if isinstance(error, self._primary.dialect.errors) else error.__cause__
        # 40001, and 57014 where a statement was running: what it read stood in the way of the log being applied.
        if getattr(cause, "sqlstate", None) in {"40001", "40P01", "57014"}:
            self.count("conflict")
        elif isinstance(error, LedgerError) and not isinstance(error, StoreUnavailable):
            self.count("refused")
        else:
            self._state = "away"
            self.count("away")

    def _each_turn(self, each: Callable[[], None]) -> None:
        while not self._stopping.is_set():
            each()
            self._stopping.wait(EVERY_S)


def _passed(reason: str) -> StoreUnavailable:
    return StoreUnavailable(
        "the read store may not answer this", where=_WHERE, got=reason, mend="the store itself is asked"
    )
