"""The logs that a witness knows: a file of ``log`` lines (C2SP tlog-policy), read anew when it changes.

So a log is added, or the next key of one, without a restart. A file that is broken or gone while the witness runs changes
nothing: what was read last goes on, and the log says so.
"""

import logging
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path

from ledger.book.policy import parse_log_lines
from ledger.book.signing import Verifier
from ledger.errors import LedgerError, MalformedInput

LOG = logging.getLogger("pourbook.witness")


class LogFile:
    """Gives the keys of every known log by its origin. Any thread may ask."""

    def __init__(self, path: Path) -> None:
        """Read the file. Raises MalformedInput naming the line."""
        self._path = path
        self._door = threading.Lock()
        self._seen = _mark(path)
        self._logs = _read(path)

    def __call__(self) -> Mapping[str, Sequence[Verifier]]:
        """What the file says now."""
        with self._door:
            seen = _mark(self._path)
            if seen != self._seen:
                self._seen = seen
                try:
                    self._logs = _read(self._path)
                except LedgerError as error:
                    LOG.error("known logs stay as they were: %s", error)  # noqa: TRY400  # the cause is in the message
            return self._logs


def _mark(path: Path) -> tuple[int, ...]:
    """What changes when a file is written anew or replaced."""
    try:
        found = path.stat()
    except OSError:
        return ()
    return found.st_mtime_ns, found.st_size, found.st_ino


def _read(path: Path) -> dict[str, list[Verifier]]:
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise MalformedInput(f"file of known logs cannot be read: {error.strerror}", where=str(path)) from error
    logs: dict[str, list[Verifier]] = {}
    for log in parse_log_lines(raw):
        logs.setdefault(log.verifier.name, []).append(log.verifier)
    return logs
