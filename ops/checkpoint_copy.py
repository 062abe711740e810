"""The last checkpoint in a second place: a file on another disk or host, so that a rolled-back store is noticed.

The service refuses to start on a store that is older than it.  It is rewritten whole (a new file, flushed, then renamed)
at most once in ``every_s`` seconds and at the end; what is younger than that is the exposure to a rollback.  A file that
the keeper of the store can also write proves nothing to others: that takes a witness with a key of its own.
"""

from __future__ import annotations

import logging
import os
import time
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.book.checkpoint import check_checkpoint, parse_checkpoint
from ledger.errors import LedgerError, MalformedInput

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ledger.book.signing import Verifier
    from ledger.store.answer import GroupReport

EVERY_S = 10.0
LOG = logging.getLogger("pourbook.checkpoint_copy")


class CheckpointCopy:
    """Keeps the newest checkpoint of a writer in a file; given to it as ``on_group``."""

    def __init__(self, path: Path, every_s: float = EVERY_S) -> None:
        """Nothing is read or written yet."""
        self._path = path
        self._every_s = every_s
        self._next = 0.0
        self._newest = b""

    def known(self, origin: str, keys: Sequence[Verifier]) -> bytes | None:
        """The copy, signed by one of ``keys``; None where there is no file yet. Raises MalformedInput, SignatureRejected."""
        try:
            note = self._path.read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise MalformedInput(f"checkpoint copy cannot be read: {error.strerror}", where=str(self._path)) from error
        check_checkpoint(note, keys, origin)
        return note

    def __call__(self, report: GroupReport) -> None:
        """Keep a group's checkpoint, if the last one was kept long enough ago."""
        self._newest = report.checkpoint
        if time.monotonic() < self._next:
            return
        try:
            self.keep()
        except OSError as error:
            # The book goes on without its copy; whoever watches the log must know that the exposure grows.
            LOG.error("checkpoint copy not kept: %s", error)  # noqa: TRY400  # the cause is in the message

    def keep(self) -> None:
        """Write the newest checkpoint now, unless another process kept a later one. Raises OSError."""
        self._next = time.monotonic() + self._every_s
        if not self._newest or self._kept_size() >= parse_checkpoint(self._newest).tree_size:
            return
        beside = self._path.with_name(f"{self._path.name}.{os.getpid()}")
        with beside.open("wb") as file:
            file.write(self._newest)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(self._path)

    def _kept_size(self) -> int:
        try:
            return parse_checkpoint(self._path.read_bytes()).tree_size
        except (OSError, LedgerError):
            return -1
