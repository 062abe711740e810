"""The pen: where several service processes of one machine write one book, one of them enters what all were told.

Each process could enter its own: the head row orders them.  But each then reads what the others entered before it may
enter a few submissions of its own, and with every process there is more of the former and less of the latter.  So the
one that holds the pen, which is the lock of a file in a folder that they share, listens at a socket beside that file;
the others pass on to it what they were told, sealed, and hand out its answers.

Nothing rests on it.  What the holder leaves unanswered (it ended, stands still, or its store fails) is entered by whoever
passed it on, in its own turn at the head, and idempotency keys answer for what the holder entered after all.  The lock is
the system's and ends with its process, so the next one takes the pen.

Whoever can open the socket can write the book: the folder belongs to the processes' own user and to nobody else.
"""

from __future__ import annotations

import fcntl
import hashlib
import logging
import os
import stat
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from ledger.errors import Unsupported
from ledger.store.answer import Settled
from ledger.store.engine import Store
from ledger.store.group import Asked
from ledger.store.pen_address import connecting
from ledger.store.pen_holder import PenHolder
from ledger.store.pen_line import PATIENCE_S, PenLine

PAUSE_S = 10.0
"""A holder that took too long is left alone for so long."""

LOG = logging.getLogger("pourbook.pen")

FORMAT = 1
"""Of the messages (`ledger.store.passed`): releases that differ in them do not meet."""

TakeBack = Callable[[Callable[[], list[Asked]]], None]
"""Asks for what is given back, and takes it before anything that is said later."""


class Pen:
    """What one process knows of the pen. Used by the writer's thread alone, but for `passes`."""

    def __init__(self, folder: Path) -> None:
        """``folder`` is what the processes share. Raises Unsupported for one that is not safe."""
        check_folder(folder)
        self._folder = folder
        self._address = b""
        self._lock = -1
        self._line: PenLine | None = None
        self._found: PenLine | None = None
        self._not_before = 0.0
        self._deliver: Callable[[list[Settled]], None] = lambda _settled: None
        self._take_back: TakeBack = lambda _asked: None
        self.holder: PenHolder | None = None
        """The holder's side, where this process holds the pen."""
        self.checkpoint = b""
        """The newest checkpoint that a holder told of."""

    def open(self, book: str, deliver: Callable[[list[Settled]], None], take_back: TakeBack) -> None:
        """Take the pen of a book if nobody holds it.

        ``book`` names store and origin for all who share it. ``deliver`` hands answers out, ``take_back`` takes what this
        process must enter, once it asks for that. Raises Unsupported where the folder takes no file.
        """
        self._deliver, self._take_back = deliver, take_back
        name = hashlib.sha256(f"{FORMAT} {book}".encode()).hexdigest()[:16]
        self._address = os.fsencode(self._folder / f"{name}.sock")
        try:
            self._lock = os.open(self._folder / f"{name}.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise Unsupported("folder of the pen takes no file", got=error.strerror, where=str(self._folder)) from error
        if self.seek():
            self.use()

    @property
    def waiting(self) -> int:
        """Submissions that were passed on and are not answered yet, about."""
        return 0 if self._line is None else self._line.waiting

    def passes(self, asked: Asked) -> bool:
        """Pass a submission on; False where this process enters it itself."""
        line = self._line
        return line is not None and line.passes(asked)

    def seek(self) -> bool:
        """Where there is neither pen nor line, take the one or look for the other; whether a line was found, to be used."""
        if self.holder is not None or self._lock < 0 or (self._line is not None and not self._line.is_over):
            return False
        if self._line is not None and self._line.was_late:
            self._not_before = time.monotonic() + PAUSE_S
        self._line = None
        if time.monotonic() < self._not_before:
            return False
        try:
            if not self._hold():
                connection = connecting(self._address, PATIENCE_S)
                self._found = PenLine(connection, settle=self._settle, left=self._take_back)
        except OSError as error:
            # Whoever takes it just now does not listen yet, or the folder is gone: each process enters its own.
            LOG.info("no line to the holder of the pen: %s", error)
        return self._found is not None

    def use(self) -> None:
        """Pass on by the line that was found, from here on."""
        self._line, self._found = self._found, None

    def close(self) -> None:
        """Give the pen up, or the way to whoever holds it."""
        if self._line is not None:
            self._line.close()
        if self.holder is not None:
            self.holder.close()
        if self._lock >= 0:
            os.close(self._lock)
        self._line, self.holder, self._lock = None, None, -1

    def _hold(self) -> bool:
        """Take the pen and listen; False where another process holds it. Raises OSError."""
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        # Whoever held the pen before may have left it.
        with suppress(FileNotFoundError):
            os.unlink(self._address)  # noqa: PTH108  # as bytes
        self.holder = PenHolder(self._address)
        return True

    def _settle(self, settled: list[Settled], checkpoint: bytes) -> None:
        self.checkpoint = checkpoint
        self._deliver(settled)


def share_pen(store: Store, folder: Path) -> None:
    """Have a store's writer, before it is started, enter together with those of the other processes that share the folder.

    Raises Unsupported for a folder that is not safe.
    """
    store.pen = Pen(folder)


def check_folder(folder: Path) -> None:
    """A folder of this user that nobody else may enter; made so where it is missing. Raises Unsupported."""
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        found = folder.stat()
    except OSError as error:
        raise Unsupported("folder of the pen cannot be used", got=error.strerror, where=str(folder)) from error
    if not stat.S_ISDIR(found.st_mode) or found.st_uid != os.geteuid() or stat.S_IMODE(found.st_mode) & 0o077:
        raise Unsupported(
            "folder of the pen is open to others",
            expected="a folder of the service's own user, mode 0700",
            got=oct(stat.S_IMODE(found.st_mode)),
            where=str(folder),
            mend=f"chmod 700 {folder}, as the user of the service",
        )
