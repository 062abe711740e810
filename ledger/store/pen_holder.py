"""The holder's side of the pen: it listens, takes submissions in, and sends the answers out, all on the writer's thread.

A thread for each process that passes on would have the interpreter handed from thread to thread several times a group, which
costs more than the group.  So the writer looks what came before it takes a group, and sleeps here while nothing comes.
It never waits for one process: what cannot be sent at once is kept, and a process that reads nothing loses its line.
"""

from __future__ import annotations

import logging
import selectors
import socket
from collections.abc import Callable, Iterable
from contextlib import suppress

from ledger.errors import LedgerError, MalformedInput
from ledger.store.answer import Entered, PassedOn, Settled
from ledger.store.group import Asked
from ledger.store.passed import format_answers, parse_passed, taken_messages
from ledger.store.pen_address import listening

LOG = logging.getLogger("pourbook.pen")

READ_BYTES = 1 << 18
KEPT_BYTES = 1 << 26
"""Answers that wait for a process to read them, in bytes: one that leaves more is given up."""


class _Line:
    """The line of one process that passes on."""

    def __init__(self, connection: socket.socket) -> None:
        self.connection = connection
        self.came = bytearray()
        self.waits = bytearray()


class PenHolder:
    """Listens at a socket until it is closed. Used by the writer's thread alone, but for `wake`."""

    def __init__(self, address: bytes) -> None:
        """Listen. Raises OSError."""
        self._selector = selectors.DefaultSelector()
        self._listener = listening(address)
        self._bell, self._heard = socket.socketpair()
        for each in (self._listener, self._heard):
            each.setblocking(False)
            self._selector.register(each, selectors.EVENT_READ)
        self._asleep = False

    def wake(self) -> None:
        """End the writer's sleep; from any thread, after something was queued."""
        if self._asleep:
            self._asleep = False
            with suppress(OSError):
                self._bell.send(b"\0")

    def sleep(self, nothing_waits: Callable[[], bool], patience_s: float | None) -> list[Asked]:
        """What came, as soon as something does; nothing where `wake` was called or the time is over.

        ``nothing_waits`` is asked once the bell would be heard: what was queued before that rings none.
        """
        self._asleep = True
        try:
            return self.collect(patience_s) if nothing_waits() else []
        finally:
            self._asleep = False

    def collect(self, patience_s: float | None = 0.0) -> list[Asked]:
        """What came since the last time, waiting so long for something."""
        found: list[Asked] = []
        for key, events in self._selector.select(patience_s):
            if key.fileobj is self._listener:
                self._accept()
            elif key.fileobj is self._heard:
                with suppress(OSError):
                    self._heard.recv(1024)
            else:
                line: _Line = key.data
                try:
                    if events & selectors.EVENT_WRITE:
                        self._send(line)
                    if events & selectors.EVENT_READ:
                        found += self._read(line)
                except (OSError, LedgerError) as error:
                    self._give_up(line, error)
        return found

    def answer(self, settled: Iterable[Settled], checkpoint: bytes) -> None:
        """Send their answers to the processes that passed them on, one message each."""
        by_line: dict[_Line, list[tuple[int, Entered | BaseException | None]]] = {}
        for one in settled:
            by_line.setdefault(one.future.line, []).append((one.future.number, one.entered or one.error))
        for line, answers in by_line.items():
            if line.connection.fileno() < 0:
                continue
            try:
                line.waits += format_answers(answers, checkpoint)
                self._send(line)
            except (OSError, LedgerError) as error:
                self._give_up(line, error)

    def close(self) -> None:
        """Take nothing more."""
        lines = [key.data.connection for key in self._selector.get_map().values() if key.data is not None]
        for each in (*lines, self._listener, self._heard, self._bell):
            each.close()
        self._selector.close()

    def _accept(self) -> None:
        with suppress(OSError):
            connection, _ = self._listener.accept()
            connection.setblocking(False)
            self._selector.register(connection, selectors.EVENT_READ, _Line(connection))

    def _read(self, line: _Line) -> list[Asked]:
        part = line.connection.recv(READ_BYTES)
        if not part:
            raise ConnectionResetError("its process ended or gave it up")
        line.came += part
        found = []
        for raw in taken_messages(line.came):
            future = PassedOn(line)
            future.number, asked = parse_passed(raw, future)
            found.append(asked)
        return found

    def _send(self, line: _Line) -> None:
        with suppress(BlockingIOError):
            del line.waits[: line.connection.send(line.waits)]
        if len(line.waits) > KEPT_BYTES:
            raise MalformedInput("answers are not read", got=f"{len(line.waits)} bytes wait")
        wanted = selectors.EVENT_READ | (selectors.EVENT_WRITE if line.waits else 0)
        if self._selector.get_key(line.connection).events != wanted:
            self._selector.modify(line.connection, wanted, line)

    def _give_up(self, line: _Line, error: Exception) -> None:
        """What it passed on is entered all the same; it enters that itself, and finds it there."""
        LOG.info("line of the pen ended: %s", error)
        with suppress(KeyError, ValueError):
            self._selector.unregister(line.connection)
        line.connection.close()
