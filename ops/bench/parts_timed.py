"""Processor time by part of the way of a registration: named functions are wrapped, and each is charged with its own time.

What a wrapped function spends within another wrapped one is charged to that one, so the parts add up.  Time is that of the
thread alone, so waits (for the disk, a lock, the interpreter) are in none.
"""

from __future__ import annotations

import importlib
import threading
import time
from collections import Counter
from collections.abc import Callable
from typing import Any

import msgspec

DECODE, LOOKS, SEAL, ANSWER = "decoding of the body", "looks before the queue", "sealing and digest", "answer as JSON"
NEEDS, CHECKS, EFFECTS, ENTRY = "needs", "checks", "effects in the overlay", "entry bytes and hash"
ROWS, WRITING, READING = "view rows as values", "driver: writing", "driver: reading"
COMMIT, SIGN, TREE, DELIVERY = "commit", "signature", "tree, proofs and receipts", "delivery to waiters"
REST_LOOP, REST_WRITER = "rest of the request loop: HTTP, routing, guards", "rest of the writer's thread"

PLACES: tuple[tuple[str, str, str], ...] = (
    ("api.routes.submissions", "decode_body", DECODE),
    ("ledger.application.pourbook", "check_may_say", LOOKS),
    ("ledger.application.pourbook", "check_said", LOOKS),
    ("ledger.store.writer", "check_submission", LOOKS),
    ("ledger.store.writer", "seal_submission", SEAL),
    ("ledger.store.writer", "request_digest", SEAL),
    ("api.routes.submissions", "recorded", ANSWER),
    ("api.routes.submissions", "plain_answer", ANSWER),
    ("api.delivery", "_settle", DELIVERY),
    ("api.delivery", "Delivery.__call__", DELIVERY),
    ("ledger.store.loader", "Loader.load_for", NEEDS),
    ("ledger.store.group", "check_record", CHECKS),
    ("ledger.store.group", "enter", EFFECTS),
    ("ledger.store.group", "_assemble", ENTRY),
    ("ledger.store.group", "entry_hash", ENTRY),
    ("ledger.store.commit", "check_tail_hashes", ENTRY),
    ("ledger.store.group_rows", "store_changes", ROWS),
    ("ledger.store.group_rows", "entry_rows", ROWS),
    ("ledger.store.group_rows", "request_rows", ROWS),
    ("ledger.store.transaction", "Transaction.run", WRITING),
    ("ledger.store.transaction", "Transaction.run_many", WRITING),
    ("ledger.store.transaction", "Transaction.put_many", WRITING),
    ("ledger.store.transaction", "Transaction.settle", WRITING),
    ("ledger.store.transaction", "Transaction.row", READING),
    ("ledger.store.transaction", "Transaction.rows", READING),
    ("ledger.store.engine", "Store.commit", COMMIT),
    ("ledger.store.commit", "sign_checkpoint", SIGN),
    ("ledger.store.book_tail", "BookTail.append", TREE),
    ("ledger.store.commit", "prove_tail", TREE),
    ("ledger.store.commit", "format_receipts", TREE),
)
"""Module, function or method in it, part. A function is replaced where it is called from."""


class PartsTaken(msgspec.Struct, frozen=True, kw_only=True):
    """What a run of the service took: seconds by part, in all; how many entries; what the clock itself took of it."""

    parts: dict[str, float]
    entries: int
    clock_s: float


class PartsClock:
    """Wraps `PLACES`; each thread has its own open parts and sums."""

    def __init__(self) -> None:
        """Nothing is wrapped yet."""
        self._of_thread = threading.local()
        self._sums: list[Counter[str]] = []
        self._looks = 0

    def wrap_places(self) -> None:
        """Replace every function of `PLACES`, and that of the writer's thread, for the rest of this process."""
        for module, name, part in PLACES:
            self._replace(module, name, part)
        self._replace("ledger.store.writer", "Writer._run", REST_WRITER)

    def sums(self) -> Counter[str]:
        """Nanoseconds by part, of all threads."""
        return sum(self._sums, Counter[str]())

    def own_sums(self) -> Counter[str]:
        """Those of the thread that asks."""
        return Counter(self._state().sums)

    @property
    def looks(self) -> int:
        """How often the clock was looked at, about."""
        return self._looks

    def _replace(self, module: str, name: str, part: str) -> None:
        owner: Any = importlib.import_module(module)
        *within, last = name.split(".")
        for step in within:
            owner = getattr(owner, step)
        setattr(owner, last, self.wrapped(getattr(owner, last), part))

    def wrapped(self, function: Callable[..., Any], part: str) -> Callable[..., Any]:
        """The function, charged to a part."""

        def timed(*arguments: Any, **named: Any) -> Any:
            state = self._state()
            self._charge(state)
            state.open.append(part)
            try:
                return function(*arguments, **named)
            finally:
                self._charge(state)
                state.open.pop()

        return timed

    def _state(self) -> Any:
        state = self._of_thread
        if not hasattr(state, "open"):
            state.open, state.sums, state.since = [], Counter[str](), time.thread_time_ns()
            self._sums.append(state.sums)
        return state

    def _charge(self, state: Any) -> None:
        """What passed since the last look goes to the innermost open part."""
        now = time.thread_time_ns()
        if state.open:
            state.sums[state.open[-1]] += now - state.since
        state.since = now
        self._looks += 1
