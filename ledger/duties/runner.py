"""The thread that does the background work of a service process, under a lease, until it is stopped.

Today's duties: re-checks after corrections (`ledger.duties.rechecks`), holds on balls that fail by a reading after their
release (`late_readings`), erasing what was kept long enough (`retention`), once a week a look for signals in claims
(`signals`), and changes of what approval files rest on (`approval_changes`).  What a duty finds is said through the one way
in.
Each duty is done by itself: an error of one is logged, and puts off that one alone.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable
from typing import Any

from ledger.duties.approval_changes import ApprovalChanges, Changes
from ledger.duties.late_readings import DUTY, Failing, Look, late_readings
from ledger.duties.rechecks import due_rechecks
from ledger.duties.retention import Retention
from ledger.duties.signals import SignalLooks
from ledger.errors import KeyReused, LedgerError, StoreError
from ledger.line.submission import Submission
from ledger.store.engine import Store
from ledger.store.leases import end_lease, take_lease
from ledger.store.places import keep_place
from ledger.store.reader import Reader, open_reader

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
        failing: Failing | None = None,
        changes: Changes | None = None,
    ) -> None:
        """``submit`` says a submission in the service's own name and gives its future; ``holder`` names this process.

        ``failing`` judges balls that were read after their release, ``changes`` compares approval files with what they
        rest on; without one nobody looks for what it finds.
        """
        self._store = store
        self._submit = submit
        self._holder = holder
        self._clock_ms = clock_ms
        self._every_s = every_s
        self._failing = failing
        self._approvals = None if changes is None else ApprovalChanges(changes)
        self._done: set[str] = set()
        self._retention = Retention()
        self._signals = SignalLooks()
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
        """One turn of every duty; how many submissions were made. 0 while another process holds the lease.

        Raises StoreError: without the store no duty is done.
        """
        now_ms = self._clock_ms()
        if not take_lease(self._store, "rechecks", self._holder, now_ms, LEASE_MS):
            return 0
        duties: dict[str, Callable[[], int]] = {
            "re-checks": lambda: self._say_due(lambda reader: due_rechecks(reader, now_ms, self._done)),
            "retention": lambda: self._say_due(lambda reader: self._retention.due(reader, now_ms)),
            "signals": lambda: self._say_due(lambda reader: self._signals.due(reader, now_ms)),
            "late readings": lambda: self._look_at_late(now_ms),
            "approval changes": lambda: self._look_at_approvals(now_ms),
        }
        return sum(self._do(name, duty) for name, duty in duties.items())

    def _do(self, name: str, duty: Callable[[], int]) -> int:
        try:
            return duty()
        except StoreError:
            raise
        except LedgerError as error:
            LOG.warning("duty %s put off: %s", name, error)
        except Exception:
            # A fault of one duty is no reason to leave the others undone.
            LOG.exception("duty %s failed, and is tried again", name)
        return 0

    def _say_due(self, find: Callable[[Reader], Iterable[Submission]]) -> int:
        """Say what is due, in its order and up to the first error: the later may rest on the earlier."""
        with open_reader(self._store) as reader:
            due = list(find(reader))
        return sum(self._say(submission) for submission in due)

    def _look_at_late(self, now_ms: int) -> int:
        if self._failing is None:
            return 0
        with open_reader(self._store) as reader:
            late = late_readings(reader, now_ms, self._failing)
        return self._hold(late)

    def _look_at_approvals(self, now_ms: int) -> int:
        approvals = self._approvals
        return 0 if approvals is None else self._say_due(lambda reader: approvals.due(reader, now_ms))

    def _hold(self, late: Look) -> int:
        """Say what a look found; where nothing is left to say, the next one goes on behind it."""
        if not late.due and late.moved:
            keep_place(self._store, DUTY, late.place)
        return sum(self._say(submission) for submission in late.due)

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
