"""The last checkpoint in a second place: a file on another disk or host, so that a rolled-back store is noticed.

The service refuses to start on a store that is older than it.  It is rewritten whole (a new file, flushed, then renamed)
at most once in ``every_s`` seconds and at the end; what is younger than that is the exposure to a rollback.  A file that
the keeper of the store can also write proves nothing to others: that takes a witness with a key of its own.
"""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.book.checkpoint import check_checkpoint
from ledger.errors import MalformedInput

if TYPE_CHECKING:
    from ledger.book.signing import Verifier
    from ledger.store.answer import GroupReport

EVERY_S = 10.0


class CheckpointCopy:
    """Keeps the newest checkpoint of a writer in a file; given to it as ``on_group``."""

    def __init__(self, path: Path, every_s: float = EVERY_S) -> None:
        """Nothing is read or written yet."""
        self._path = path
        self._every_s = every_s
        self._next = 0.0
        self._newest = b""

    def known(self, origin: str, verifier: Verifier) -> bytes | None:
        """The copy, its signature checked; None where there is no file yet. Raises MalformedInput, SignatureRejected."""
        try:
            note = self._path.read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise MalformedInput(f"checkpoint copy cannot be read: {error.strerror}", where=str(self._path)) from error
        check_checkpoint(note, [verifier], origin)
        return note

    def __call__(self, report: GroupReport) -> None:
        """Keep a group's checkpoint, if the last one was kept long enough ago."""
        self._newest = report.checkpoint
        if time.monotonic() >= self._next:
            self.keep()

    def keep(self) -> None:
        """Write the newest checkpoint now."""
        if not self._newest:
            return
        self._next = time.monotonic() + self._every_s
        beside = self._path.with_name(self._path.name + ".new")
        with beside.open("wb") as file:
            file.write(self._newest)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(self._path)
