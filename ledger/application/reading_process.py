"""A process that only reads: it opens the store so that the database refuses every write, and answers one question
after another until the service closes its pipe or is gone.  For a half of a large population it has one of its own beside.

What goes over the pipe, pickled, between these two processes alone: from the service ``(function, arguments, writes)``
and, where it writes, an open file; back ``("answer", value)``, ``("error", exception)``, or ``("asks", (name, arguments))``,
to which the service sends an answer or an error of its own.
"""

from __future__ import annotations

import atexit
import gc
import multiprocessing
import os
import signal
import threading
import traceback
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from multiprocessing import resource_tracker
from multiprocessing.reduction import recv_handle, send_handle
from typing import Any, BinaryIO, NamedTuple

from ledger.errors import LedgerError, StoreUnavailable
from ledger.store.engine import Store, open_store

NICENESS = 10
"""How far such a process stands back behind the service when both want a core."""

READING_CONNECTIONS = 3
"""Most connections to the store that such a process takes: a look, what it asks beside it, and where the archive is."""

_spawn = multiprocessing.get_context("spawn")


class Inside(NamedTuple):
    """What a question works with: the store, how to ask the service something by name, the file that was opened for
    it, a BinaryIO, or None, and the process that may take a half of it. ``follows``: the store is a standby.
    """

    store: Store
    ask: Callable[..., Any]
    out: Any
    beside: Beside | None = None
    follows: bool = False


class ReadingProcess:
    """One process, and the service's end of the pipe to it. One thread asks at a time."""

    def __init__(self, url: str, *, follows: bool = False) -> None:
        """Start it over the store at ``url``, a standby where it ``follows``; it is ready when it answers."""
        self._pipe, theirs = _spawn.Pipe()
        # A daemon might start no process of its own. It ends with this one all the same: by `end`, or of itself.
        self._process = _spawn.Process(target=_work, args=(url, theirs, follows), name="long read", daemon=False)
        # The process inherits this thread's mask: a Ctrl-C reaches it too, and is not for it, not even while it starts.
        # The tracker goes first, since starting it would take the mask off again.
        resource_tracker.ensure_running()
        mask = signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT])
        try:
            self._process.start()
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)
            theirs.close()
        atexit.register(self.end)

    @property
    def is_alive(self) -> bool:
        """Whether it has not ended."""
        return self._process.is_alive()

    def ask(
        self,
        function: Callable[..., Any],
        arguments: tuple[Any, ...],
        answers: dict[str, Callable[..., Any]],
        out: BinaryIO | None,
    ) -> Any:
        """What ``function(inside, *arguments)`` gives there; ``answers`` is what it may ask the service for.

        Raises what the function raised, and StoreUnavailable when the process ends before it is done.
        """
        try:
            self._pipe.send((function, arguments, out is not None))
            if out is not None:
                send_handle(self._pipe, out.fileno(), self._process.pid)
            sort, told = self._pipe.recv()
            while sort == "asks":
                self._pipe.send(_outcome(answers[told[0]], *told[1]))
                sort, told = self._pipe.recv()
        except (EOFError, OSError) as error:
            self.end()
            raise StoreUnavailable(
                "long read was cut off",
                got=f"its process ended with {self._process.exitcode}",
                mend="ask again; if it ends again, ask for less at once",
            ) from error
        return _given(sort, told)

    def end(self) -> None:
        """End it at once, whatever it is at: it has nothing to lose."""
        atexit.unregister(self.end)
        self._process.kill()
        self._process.join()


SPLIT_OVER = 200_000
"""Balls of a selection above which its second half goes to a second process."""


class Beside:
    """A second process beside this one, started by the first question that is large enough; one question at a time."""

    def __init__(self, url: str, over: int = SPLIT_OVER) -> None:
        """Nothing is started yet. ``over``: balls of a selection above which it is asked."""
        self.over = over
        self._url = url
        self._lock = threading.Lock()
        self._process: ReadingProcess | None = None

    def begin(self, function: Callable[..., Any], *arguments: Any) -> Future[Any]:
        """Have ``function(inside, *arguments)`` worked out there; the future gives None where that fails."""
        future: Future[Any] = Future()
        threading.Thread(target=self._ask, args=(future, function, arguments), daemon=True).start()
        return future

    def close(self) -> None:
        """End the process, if there is one."""
        if self._process is not None:
            self._process.end()

    def _ask(self, future: Future[Any], function: Callable[..., Any], arguments: tuple[Any, ...]) -> None:
        try:
            with self._lock:
                if self._process is None or not self._process.is_alive:
                    self._process = ReadingProcess(self._url)
                answer = self._process.ask(function, arguments, {}, None)
        except Exception:  # noqa: BLE001  # whatever it is: who asked works it out alone, and meets it there
            answer = None
        future.set_result(answer)


YOUNG = 50_000
"""New objects before the collector looks at the youngest (Python's own figure is 700)."""


def _work(url: str, pipe: Any, follows: bool) -> None:  # noqa: FBT001  # arguments of a process have no names
    """The whole life of the process."""
    # Whoever stops the service stops it alone; it ends this process when the requests at hand are answered.
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_IGN)
    os.nice(max(0, NICENESS - os.nice(0)))
    # Rows of a long read refer to nothing that refers back: what the collector would walk again and again.
    gc.freeze()
    gc.set_threshold(YOUNG)
    threading.Thread(target=_end_with_service, daemon=True).start()
    work = _Work(url, pipe, follows=follows)
    with suppress(EOFError, OSError):
        while True:
            work.answer_next()


def _end_with_service() -> None:
    service = multiprocessing.parent_process()
    if service is not None:
        service.join()
    os._exit(0)


class _Work:
    """The process's end of the pipe, and the store once it is open."""

    def __init__(self, url: str, pipe: Any, *, follows: bool) -> None:
        self._url = url
        self._follows = follows
        self._pipe = pipe
        self._store: Store | None = None
        self._beside = Beside(url)

    def answer_next(self) -> None:
        """Wait for one question and answer it. Raises EOFError, OSError when the service is gone."""
        function, arguments, writes = self._pipe.recv()
        if writes:
            with os.fdopen(recv_handle(self._pipe), "wb") as out:
                outcome = _outcome(self._run, function, arguments, out)
        else:
            outcome = _outcome(self._run, function, arguments, None)
        try:
            self._pipe.send(outcome)
        except OSError:
            raise
        except Exception:  # noqa: BLE001  # pickle raises what it likes, before anything is sent
            self._pipe.send(("error", RuntimeError(f"a long read gave what cannot be sent: {outcome[1]!r:.200}")))

    def _run(self, function: Callable[..., Any], arguments: tuple[Any, ...], out: BinaryIO | None) -> Any:
        if self._store is None:
            self._store = open_store(self._url, migrate=False, read_only=True, connections=READING_CONNECTIONS)
        answer = function(Inside(self._store, self._ask, out, self._beside, self._follows), *arguments)
        if out is not None:
            out.flush()
        return answer

    def _ask(self, name: str, *arguments: Any) -> Any:
        self._pipe.send(("asks", (name, arguments)))
        return _given(*self._pipe.recv())


def _outcome(function: Callable[..., Any], *arguments: Any) -> tuple[str, Any]:
    """What a call gave or raised, to be sent; an error that is not of our tree says where it was raised."""
    try:
        return "answer", function(*arguments)
    except LedgerError as error:
        return "error", error
    except Exception as error:  # noqa: BLE001  # it is raised again where the answer is waited for
        error.add_note("raised in another process:\n" + traceback.format_exc())
        return "error", error


def _given(sort: str, told: Any) -> Any:
    if sort == "error":
        raise told
    return told
