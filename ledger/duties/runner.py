"""The thread that does the background work of a service process, under a lease, until it is stopped.

Today's duty: re-checks after corrections (`ledger.duties.rechecks`).  What a duty finds is said through the one way in.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any

from ledger.duties.rechecks import due_rechecks
from ledger.errors import KeyReused, LedgerError
from ledger.line.submission import Submission
from ledger.store.engine import Store
from ledger.store.leases import end_lease, take_lease
from ledger.store.reader import open_reader

LEASE_MS = 60_000
LOG = logging.getLogger("pourbook.duties")


class DutyRunner:
    """Runs the duties every ``every_s`` seconds, and at once when `wake` is called."""

    def __init__(
        self,
        store: Store,
        submit: Callable[[Submission], Any],
        *,
        holder: str,
        clock_ms: Callable[[], int],
        every_s: float = 10.0,
    ) -> None:
        """``submit`` says a submission in the service's own name and gives its future; ``holder`` names this process."""
        self._store = store
        self._submit = submit
        self._holder = holder
        self._clock_ms = clock_ms
        self._every_s = every_s
        self._done: set[str] = set()
        self._wanted = threading.Event()
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name="duties", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def wake(self) -> None:
        """Do the duties now rather than at the next turn."""
        self._wanted.set()

    def stop(self) -> None:
        """Finish the turn at hand and give the lease up."""
        self._stopping = True
        self._wanted.set()
        if self._thread.is_alive():
            self._thread.join()

    def turn(self) -> int:
        """One turn of every duty; how many submissions were made. 0 while another process holds the lease."""
        now_ms = self._clock_ms()
        if not take_lease(self._store, "rechecks", self._holder, now_ms, LEASE_MS):
            return 0
        with open_reader(self._store) as reader:
            due = list(due_rechecks(reader, now_ms, self._done))
        return sum(self._say(submission) for submission in due)

    def _say(self, submission: Submission) -> bool:
        try:
            self._submit(submission).result()
        except KeyReused:
            # A process whose lease ran out said it at the same time.
            return False
        return True

    def _run(self) -> None:
        while not self._stopping:
            try:
                self.turn()
            except LedgerError as error:
                LOG.warning("duty put off: %s", error)
            except Exception:
                # Nobody would see that the thread has ended.
                LOG.exception("duty failed, and is tried again")
            self._wanted.wait(self._every_s)
            self._wanted.clear()
        try:
            end_lease(self._store, "rechecks", self._holder)
        except LedgerError as error:
            LOG.warning("lease not given up: %s", error)
