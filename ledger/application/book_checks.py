"""Checks of the whole book while the service runs: each in a process of its own, with its progress, its outcome kept.

One runs at a time: it reads the whole store once and folds it anew.  It is the service's own check, by the keys at hand;
`pourbook verify book`, run elsewhere with a key kept elsewhere, needs no trust in the service.
"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable, Sequence
from typing import Any

import msgspec

from ledger.application.files_check import check_files
from ledger.application.proofs import check_book
from ledger.application.published_check import check_published
from ledger.application.reading_process import Inside, ReadingProcess
from ledger.book.signing import Verifier, format_verifier, parse_verifier
from ledger.errors import LedgerError, NotFound, StoreUnavailable
from ledger.store.book_checks import put_check, read_check, read_checks
from ledger.store.engine import Store
from ledger.store.reader import open_reader


class Found(msgspec.Struct, frozen=True, kw_only=True):
    """The first thing that a check found wrong, as its error says it."""

    code: str
    problem: str
    where: str
    mend: str


class BookCheck(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One check. ``size``: the entries of the book that it looked at; ``by`` is the account that asked for it.

    While it runs ``ended_ms`` is None.  After that: ``found`` is the first thing that is wrong, ``unfinished`` says why
    nothing can be said; where both are empty nothing is wrong, and the counts are what was looked at.
    """

    check: str
    by: str
    began_ms: int
    ended_ms: int | None = None
    size: int = 0
    root: str = ""
    openings: int = 0
    files: int = 0
    checkpoint_size: int = 0
    found: Found | None = None
    unfinished: str = ""

    @property
    def is_right(self) -> bool:
        """Whether it ended and found nothing wrong."""
        return self.ended_ms is not None and self.found is None and not self.unfinished


class Progress(msgspec.Struct, frozen=True, kw_only=True):
    """How far a running check is: ``part`` is 1 for the entries and 2 for the views, each ``done`` of ``whole`` entries."""

    part: int
    done: int
    whole: int


class BookChecks:
    """Begins checks and knows those that ran. Any thread may ask."""

    def __init__(
        self,
        store: Store,
        *,
        origin: str,
        keys: Callable[[], Sequence[Verifier]],
        clock_ms: Callable[[], int],
        apart: bool = True,
    ) -> None:
        """``keys`` gives those that are trusted for checkpoints; with ``apart`` false a thread of this process checks."""
        self._store = store
        self._origin = origin
        self._keys = keys
        self._clock_ms = clock_ms
        self._apart = apart
        self._lock = threading.Lock()
        self._running: BookCheck | None = None
        self._progress = Progress(part=1, done=0, whole=0)
        self._process: ReadingProcess | None = None
        self._thread: threading.Thread | None = None
        self._closed = False

    def begin(self, account: str) -> str:
        """Begin a check, unless one runs; the id of the one that runs then. Raises StoreUnavailable after `close`."""
        with self._lock:
            self._check_open()
            if self._running is None:
                began_ms = self._clock_ms()
                check = BookCheck(check=f"{began_ms:014d}-{secrets.token_hex(4)}", by=account, began_ms=began_ms)
                self._running, self._progress = check, Progress(part=1, done=0, whole=0)
                self._thread = threading.Thread(target=self._run, args=(check,), name="book-check", daemon=True)
                self._thread.start()
            return self._running.check

    def seen(self, check: str) -> tuple[BookCheck, Progress | None]:
        """A check, and how far it is while it runs here. Raises NotFound."""
        with self._lock:
            if self._running is not None and self._running.check == check:
                return self._running, self._progress
        with open_reader(self._store) as reader:
            kept = read_check(reader.transaction, check)
        if kept is None:
            raise NotFound(
                "no such check is on record",
                where="check",
                mend="begin another; one that was cut off with the service, or runs in another process of it, is not seen here",
            )
        return _decode(kept), None

    @property
    def running(self) -> str | None:
        """The id of the check that runs here."""
        with self._lock:
            return None if self._running is None else self._running.check

    def wait(self) -> None:
        """Return when no check runs here any more."""
        with self._lock:
            thread = self._thread
        if thread is not None:
            thread.join()

    def close(self) -> None:
        """Cut off a check that runs, and keep that it was; none begins any more."""
        with self._lock:
            self._closed = True
            if self._process is not None:
                self._process.end()
        self.wait()

    def _run(self, check: BookCheck) -> None:
        try:
            ended = self._checked(check)
        except StoreUnavailable as error:
            ended = self._ended(check, unfinished=error.problem)
        except LedgerError as error:
            found = Found(
                code=error.code, problem=_told(error), where=str(error.where or ""), mend=str(error.mend or "")
            )
            ended = self._ended(check, found=found)
        except Exception as error:  # noqa: BLE001  # whatever it is, the check says nothing of the book
            ended = self._ended(check, unfinished=f"the check itself failed: {type(error).__name__}")
        try:
            put_check(self._store, check.check, msgspec.json.encode(ended).decode())
        finally:
            with self._lock:
                self._running = self._process = None

    def _checked(self, check: BookCheck) -> BookCheck:
        arguments = (self._origin, [format_verifier(key) for key in self._keys()])
        if self._apart:
            with self._lock:
                self._check_open()
                process = self._process = ReadingProcess(self._store.url)
            try:
                outcome = process.ask(_check, arguments, {"progress": self._note}, None)
            finally:
                process.end()
        else:
            outcome = _check(Inside(self._store, lambda _name, *told: self._note(*told), None), *arguments)
        return self._ended(check, **outcome)

    def _note(self, part: int, done: int, whole: int) -> None:
        """Keep how far the check is. Raises StoreUnavailable to end it where it stands."""
        with self._lock:
            self._check_open()
            self._progress = Progress(part=part, done=done, whole=whole)

    def _ended(self, check: BookCheck, **outcome: Any) -> BookCheck:
        whole = {"size": self._progress.whole, **outcome}
        return msgspec.structs.replace(check, ended_ms=self._clock_ms(), **whole)

    def _check_open(self) -> None:
        if self._closed:
            raise StoreUnavailable("service is stopping", mend="ask again when it is back")


def kept_checks(store: Store) -> list[BookCheck]:
    """Every check on record, newest first."""
    with open_reader(store) as reader:
        return [_decode(text) for text in read_checks(reader.transaction)]


def _decode(text: str) -> BookCheck:
    return msgspec.json.decode(text.encode(), type=BookCheck)


def _told(error: LedgerError) -> str:
    """An error's problem with what was expected and found, in one sentence."""
    parts = [error.problem]
    if error.expected is not None:
        parts.append(f"expected {error.expected}")
    if error.got is not None:
        parts.append(f"got {error.got}")
    return ", ".join(parts)[:1000]


def _check(inside: Inside, origin: str, keys: Sequence[str]) -> dict[str, Any]:
    """The whole book, the files of its claims and what was published, in the process that checks. Raises the first thing that is wrong."""
    told = _Told(inside.ask)
    report = check_book(inside.store, origin, [parse_verifier(line) for line in keys], progress=told)
    files = check_files(inside.store)
    check_published(inside.store, origin)
    return {
        "size": report.entries,
        "root": report.root,
        "openings": report.openings,
        "files": files.named,
        "checkpoint_size": report.checkpoint_size,
    }


class _Told:
    """Tells progress on, with the part that is at work: the second begins where the count starts again."""

    def __init__(self, ask: Callable[..., Any]) -> None:
        self._ask = ask
        self._part, self._done = 1, 0

    def __call__(self, done: int, whole: int) -> None:
        if done <= self._done:
            self._part = 2
        self._done = done
        self._ask("progress", self._part, done, whole)
