"""The thread that publishes checkpoints, under a lease of its own: it waits for others' answers, and no duty waits for it."""

from __future__ import annotations

import logging
import secrets
import threading
from collections.abc import Callable, Sequence
from typing import Protocol

from ledger.book.signing import Verifier
from ledger.duties.publishing import Publishing, PublishingPlan
from ledger.duties.witness_talk import Send
from ledger.errors import LedgerError
from ledger.store.engine import Store
from ledger.store.leases import end_lease, take_lease

DUTY = "publishing"
LEASE_S = 60.0
LOG = logging.getLogger("pourbook.publishing")


class SignedBook(Protocol):
    """The book whose checkpoints are published."""

    def checkpoint(self) -> bytes:
        """The newest signed checkpoint; empty before the first."""

    def checkpoint_keys(self) -> Sequence[Verifier]:
        """Every key that signs or has signed its checkpoints."""

    def clock_ms(self) -> int:
        """POSIX milliseconds."""


class Publisher:
    """Publishes every ``plan.every_s`` seconds, at once when asked to, and once more at the end. Any thread may ask."""

    def __init__(self, store: Store, publishing: Publishing, *, holder: str, clock_ms: Callable[[], int]) -> None:
        """``holder`` names this process."""
        self._store = store
        self._publishing = publishing
        self._holder = holder
        self._clock_ms = clock_ms
        self._wanted = threading.Event()
        self._door = threading.Lock()
        self._waiting: list[threading.Event] = []
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name="publishing", daemon=True)

    @property
    def plan(self) -> PublishingPlan:
        """How it publishes."""
        return self._publishing.plan

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def publish_now(self, timeout_s: float) -> bool:
        """Publish now, tokens included, and wait at most so long; whether a turn came to its end in that time.

        Asks without the lease: a process that somebody waits for does not stand behind another one.
        """
        done = threading.Event()
        with self._door:
            if self._stopping or not self._thread.is_alive():
                return False
            self._waiting.append(done)
        self._wanted.set()
        return done.wait(timeout_s)

    def stop(self) -> None:
        """Publish once more what was entered since, as far as the witnesses answer, and give the lease up."""
        with self._door:
            self._stopping = True
        self._wanted.set()
        if self._thread.is_alive():
            self._thread.join()

    def _run(self) -> None:
        while True:
            stopping = self._stopping
            self._turn()
            if stopping:
                break
            self._wanted.wait(self.plan.every_s)
            self._wanted.clear()
        try:
            end_lease(self._store, DUTY, self._holder)
        except LedgerError as error:
            LOG.warning("lease not given up: %s", error)

    def _turn(self) -> None:
        with self._door:
            waiting, self._waiting = self._waiting, []
        try:
            length_ms = int(max(LEASE_S, 3 * self.plan.every_s) * 1000)
            leads = take_lease(self._store, DUTY, self._holder, self._clock_ms(), length_ms)
            if waiting or leads:
                self._publishing.turn(now=bool(waiting))
        except LedgerError as error:
            LOG.warning("publishing put off: %s", error)
        except Exception:
            # Nobody would see that the thread has ended.
            LOG.exception("publishing failed, and is tried again")
        finally:
            for done in waiting:
                done.set()


def publisher_over(
    store: Store, plan: PublishingPlan, send: Send, *, book: SignedBook, on_published: Callable[[bytes], None] | None
) -> Publisher:
    """A publisher of a book's checkpoints, not started, under a holder's name of its own."""
    publishing = Publishing(
        store,
        plan,
        send,
        newest=book.checkpoint,
        keys=book.checkpoint_keys,
        clock_ms=book.clock_ms,
        on_published=on_published,
    )
    return Publisher(store, publishing, holder=secrets.token_hex(8), clock_ms=book.clock_ms)
