"""The one way in: a thread that takes what waits, checks it as a group, and commits once.

``submit`` seals on the caller's thread and returns a future.  The thread takes up to ``group_limit`` waiting
submissions, takes the head, checks them in order against an overlay (`ledger.store.group`), enters rows in bulk,
commits, signs the checkpoint, and answers with receipts.  Sign after commit, answer after signing.

What can go wrong, and then: a refusal is its waiter's alone and writes nothing.  An unexpected error takes the group
back and replays its submissions one by one.  An unknown outcome of COMMIT is settled by reading the head again: the
idempotency keys answer.  A failed flush ends the process, since nothing in memory can be trusted after it.  However
the thread ends, every waiter gets an answer.
"""

from __future__ import annotations

import os
import queue
import sqlite3
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from contextlib import suppress
from typing import Any

from ledger.book.signing import Signer
from ledger.errors import StoreError, StoreUnavailable, WriterStopped
from ledger.line.fold import check_submission
from ledger.line.submission import Submission, request_bytes, seal_submission
from ledger.store.answer import Entered, GroupReport, PassedOn, Settled, settle_futures
from ledger.store.commit import Committer, CommitUnknown
from ledger.store.engine import Store
from ledger.store.group import Asked, request_digest
from ledger.store.head import noted_size
from ledger.store.pen import Pen

IDLE_S = 1.0
"""After this long without a submission the last checkpoint is stored by itself, in seconds."""

ATTEMPTS = 5
"""How often a group is tried again after an unknown commit or a lost connection."""

FLUSH_FAILED = 70
"""Exit status after a failed flush (sysexits: internal software error)."""


def _end_process() -> None:
    os._exit(FLUSH_FAILED)


class Writer:
    """The writer of one book. ``start`` it once; ``submit`` from any thread; ``stop`` it."""

    def __init__(  # noqa: PLR0913  # the one place where a writer is wired names each part
        self,
        store: Store,
        *,
        origin: str,
        signers: Sequence[Signer],
        clock_ms: Callable[[], int],
        salts: Callable[[int], Sequence[bytes]],
        group_limit: int = 256,
        offset_minutes: int = 0,
        on_group: Callable[[GroupReport], None] | None = None,
        deliver: Callable[[list[Settled]], None] = settle_futures,
        abort: Callable[[], None] = _end_process,
        reopens: str | None = None,
    ) -> None:
        """``clock_ms`` gives POSIX milliseconds, ``salts`` that many fresh 32-byte salts.

        ``deliver`` hands a group's answers to their waiters in one call, on the writer's thread. ``reopens``: the id of a
        copy that is gone; the store from which the book was moved by it is opened again by the first entry.
        """
        self._store = store
        self._origin = origin
        self._salts = salts
        self._limit = group_limit
        self._on_group = on_group
        self._deliver = deliver
        self._abort = abort
        self._pen: Pen | None = None
        self._waiting: queue.SimpleQueue[Asked | None] = queue.SimpleQueue()
        self._in_hand: dict[int, Asked] = {}
        self._door = threading.Lock()
        self._open = False
        self._kept: list[Asked | None] = []
        """Taken out of the queue, and to be the next: at most one."""
        self._secret = b""
        self._thread: threading.Thread | None = None
        self._committer = Committer(
            store, origin=origin, signers=signers, clock_ms=clock_ms, offset_minutes=offset_minutes, reopens=reopens
        )

    @property
    def checkpoint(self) -> bytes | None:
        """The newest signed checkpoint note that this writer knows; None for an empty book."""
        own, told = self._committer.note, b"" if self._pen is None else self._pen.checkpoint
        return told if told and (own is None or noted_size(told) > noted_size(own)) else own

    @property
    def waiting(self) -> int:
        """Submissions in the queue, or passed on and not answered, about."""
        return self._waiting.qsize() + (0 if self._pen is None else self._pen.waiting)

    @property
    def is_open(self) -> bool:
        """Whether submissions are taken."""
        return self._open

    def start(self, known: bytes | str | None = None) -> None:
        """Check the end of the book, sign a missing checkpoint, and take submissions.

        ``known`` is a checkpoint kept elsewhere, its signature checked by the caller. Raises StoreBehind when the store
        is older, StoreDamaged when its parts contradict each other, StoreUnavailable when it cannot be reached.
        """
        self._store.copy_log(self._copying_failed)
        try:
            self._secret = self._committer.open(known)
            if (pen := self._store.pen) is not None:
                pen.open(f"{self._origin} {self._store.place()}", self._deliver, self._take_back)
                self._pen = pen
        except BaseException:
            self._committer.close()
            self._store.leave_log()
            raise
        self._thread = threading.Thread(target=self._run, name="writer", daemon=True)
        self._open = True
        self._thread.start()

    def submit(
        self, submission: Submission, author: str, future: Any = None, *, judged: Mapping[str, str] | None = None
    ) -> Any:
        """Queue a submission; the future gives `Entered`, or raises what refused it.

        Sealing is done here, so a malformed submission raises at once. Raises WriterStopped when nothing is taken.
        ``future`` may be any object that ``deliver`` knows how to answer; by default a concurrent Future.
        ``judged``: what balls were judged with, which must still be so (`ledger.line.judged_with`).
        """
        check_submission(submission.records)
        sealed = seal_submission(self._origin, submission, self._salts)
        # With nothing sealed, what stands is what was asked; salts make it differ otherwise.
        request = request_bytes(submission) if sealed.openings else sealed.said
        digest = request_digest(self._secret, author, request)
        waiter: Any = Future[Entered]() if future is None else future
        signature = submission.signed.envelope if submission.signed is not None else None
        asked = Asked(submission.key, author, sealed, digest, waiter, signature=signature, judged=judged)
        # Under the lock, so that nothing is queued after the thread has emptied the queue for the last time.
        with self._door:
            if not self._open:
                raise WriterStopped(
                    "writer takes nothing", mend="send it again with the same key once the service runs"
                )
            if self._pen is None or not self._pen.passes(asked):
                self._put(asked)
        return waiter

    def _put(self, asked: Asked | None) -> None:
        self._waiting.put(asked)
        if self._pen is not None and (holder := self._pen.holder) is not None:
            holder.wake()

    def _take_back(self, given: Callable[[], list[Asked]]) -> None:
        """Queue what was passed on and not answered, before anything that is said from here on."""
        with self._door:
            asked, is_open = given(), self._open
            if is_open:
                for one in asked:
                    self._put(one)
        if not is_open:
            self._refuse(asked, None)

    def stop(self) -> None:
        """Finish the group at hand, answer all others with WriterStopped, and store the last checkpoint."""
        with self._door:
            self._open = False
        self._put(None)
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        failure: BaseException | None = None
        try:
            while (asked := self._take()) is not None:
                self._in_hand = {id(one.future): one for one in asked}
                groups = list(_separated(asked))
                for group in groups:
                    self._answer(group, grows=group is groups[-1] and not group[0].alone)
        except BaseException as error:  # noqa: BLE001  # whatever ends the thread, nobody may be left waiting
            failure = error
        finally:
            with self._door:
                self._open = False
            self._refuse_rest(failure)
            if self._pen is not None:
                self._pen.close()
            self._committer.close()
            self._store.leave_log()

    def _take(self) -> list[Asked] | None:
        """What waits, at least one; None when the writer shall stop."""
        first = self._first()
        while first is not None and self._is_passed_on(first):
            first = self._first()
        if first is None:
            return None
        asked = [first]
        self._collect()
        try:
            while len(asked) < self._limit:
                another = self._waiting.get_nowait()
                if another is None:
                    self._waiting.put(None)
                    break
                asked.append(another)
        except queue.Empty:
            pass
        return asked

    def _is_passed_on(self, first: Asked) -> bool:
        """Whether a line to the pen's holder was found: it takes all that waits, in order, and what is said from here on."""
        pen = self._pen
        if pen is None or not pen.seek():
            return False
        with self._door:
            pen.use()
            waiting = [first, *_emptied(self._waiting)]
            for one in waiting:
                if one is None or not pen.passes(one):
                    self._put(one)
        return True

    def _more(self, had: int) -> Iterator[Asked]:
        """What came while the group waited for its turn at the head, as far as it may go together with it."""
        self._collect()
        for _ in range(self._limit - had):
            try:
                one = self._waiting.get_nowait()
            except queue.Empty:
                return
            if one is None or one.alone:
                self._kept.append(one)
                return
            self._in_hand[id(one.future)] = one
            yield one

    def _first(self) -> Asked | None:
        """The next that comes; while none does, what was put off is done."""
        if self._kept:
            return self._kept.pop()
        patience: float | None = IDLE_S
        while True:
            try:
                return self._next(patience)
            except queue.Empty:
                self._store_note()
                patience = IDLE_S if self._clean_erased() else None

    def _next(self, patience_s: float | None) -> Asked | None:
        """The next that is queued here, or that another process passes on. Raises queue.Empty after so long."""
        if self._pen is None or (holder := self._pen.holder) is None:
            return self._waiting.get(timeout=patience_s)
        if self._waiting.empty():
            for one in holder.sleep(self._waiting.empty, patience_s):
                self._waiting.put(one)
        return self._waiting.get_nowait()

    def _collect(self) -> None:
        """Queue what other processes passed on since the last time."""
        if self._pen is not None and (holder := self._pen.holder) is not None:
            for one in holder.collect():
                self._waiting.put(one)

    def _clean_erased(self) -> bool:
        """Clean the files of what was erased; whether that is to be tried again."""
        try:
            return self._committer.clean_erased()
        except (self._store.dialect.errors, StoreError) as error:
            self._check_flush(error)
            self._committer.take_back()
            return True

    def _store_note(self) -> None:
        """Store the last checkpoint while nobody waits; where that fails, the next group does it."""
        try:
            self._committer.store_note()
        except (self._store.dialect.errors, StoreError) as error:
            self._check_flush(error)
            self._committer.take_back()

    def _answer(self, asked: list[Asked], attempt: int = 1, *, replayed: bool = False, grows: bool = False) -> None:
        """Answer every one of ``asked``, whatever happens. ``replayed``: alone, after an error that nobody expected.

        ``grows``: those that come while others hold the head are answered with them.
        """
        try:
            settled, report = self._committer.commit(asked, *((self._more,) if grows else ()))
        except CommitUnknown as error:
            self._again(asked, error, attempt)
        except Exception as error:  # noqa: BLE001  # the group is taken back, each one then stands for itself
            self._check_flush(error)
            self._committer.take_back()
            if isinstance(error, StoreError):
                self._fail(asked, error)
            elif held_up := self._held_up(error):
                self._fail(asked, _unavailable(held_up, error))
            elif self._store.dialect.is_lost(error):
                self._again(asked, error, attempt)
            elif replayed:
                self._fail(asked, error)
            else:
                for one in asked:
                    self._answer([one], attempt, replayed=True)
        else:
            self._answered(settled, report)

    def _answered(self, settled: list[Settled], report: GroupReport) -> None:
        """Give the answers out, then do what follows a group."""
        self._settle(settled)
        if self._on_group is not None:
            self._on_group(report)
        if (copier := self._store.log_copier) is not None:
            copier.committed()
            copier.finish()
        self._clean_erased()

    def _held_up(self, error: Exception) -> str:
        """What is to be told of an error that another try at once would only meet again; empty for others."""
        if self._store.dialect.is_busy(error):
            return "store was locked for too long"
        return "store took too long over a statement" if self._store.dialect.is_overdue(error) else ""

    def _again(self, asked: list[Asked], error: Exception, attempt: int) -> None:
        self._check_flush(error.__cause__ or error)
        if attempt < ATTEMPTS and self._committer.reopen(attempt):
            # What was committed after all is answered from its idempotency key.
            self._answer(asked, attempt + 1)
        else:
            self._committer.take_back()
            self._fail(asked, _unavailable("outcome is not known", error))

    def _check_flush(self, error: BaseException) -> None:
        if self._store.dialect.is_flush_failure(error):
            self._abort()
            raise StoreError("store failed to flush to disk", mend="check the disk, then start again") from error

    def _copying_failed(self, error: sqlite3.Error) -> None:
        """On the thread that copied SQLite's log. What is no failed flush, such as a full disk, the next commit meets too."""
        if self._store.dialect.is_flush_failure(error):
            self._abort()

    def _fail(self, asked: Sequence[Asked], error: BaseException) -> None:
        if isinstance(error, self._store.dialect.errors):
            error = _unavailable("store could not take it", error)
        self._settle([Settled(one.future, None, error) for one in asked])

    def _settle(self, settled: list[Settled]) -> None:
        if self._pen is not None and self._pen.holder is not None:
            passed = [one for one in settled if isinstance(one.future, PassedOn)]
            self._pen.holder.answer(passed, self._committer.note or b"")
        self._deliver(settled)
        for one in settled:
            self._in_hand.pop(id(one.future), None)

    def _refuse_rest(self, failure: BaseException | None) -> None:
        rest = [*self._in_hand.values(), *(one for one in self._kept if one is not None)]
        rest += [one for one in _emptied(self._waiting) if one is not None]
        self._refuse(rest, failure)

    def _refuse(self, asked: Sequence[Asked], failure: BaseException | None) -> None:
        for one in asked:
            stopped = WriterStopped("writer stopped before it took this", mend="send it again with the same key")
            stopped.__cause__ = failure
            # A delivery that fails for one must not keep the others waiting.
            with suppress(Exception):
                self._fail([one], stopped)


def _emptied(waiting: queue.SimpleQueue[Asked | None]) -> Iterator[Asked | None]:
    with suppress(queue.Empty):
        while True:
            yield waiting.get_nowait()


def _separated(asked: list[Asked]) -> Iterator[list[Asked]]:
    """Corrections, re-checks and erasures alone; what lies between them together."""
    together: list[Asked] = []
    for one in asked:
        if one.alone:
            if together:
                yield together
                together = []
            yield [one]
        else:
            together.append(one)
    if together:
        yield together


def _unavailable(problem: str, error: BaseException) -> StoreUnavailable:
    unavailable = StoreUnavailable(problem, got=type(error).__name__, mend="send it again with the same key")
    unavailable.__cause__ = error
    return unavailable
