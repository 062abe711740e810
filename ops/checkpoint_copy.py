"""The last checkpoint in a second place: a file on another disk or host, so that a rolled-back store is noticed.

The service refuses to start on a store that is older than it.  It is rewritten whole (a new file, flushed, then renamed)
at most once in ``every_s`` seconds and at the end; what is younger than that is the exposure to a rollback.  A file that
the keeper of the store can also write proves nothing to others: that takes a witness with a key of its own.

The last *published* checkpoint, with the cosignatures of the witnesses, is kept beside it in a file of that name with
``.published``, written when it is published; a store that is older than this one is refused too.
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

    @property
    def published_path(self) -> Path:
        """Where the last published checkpoint is kept."""
        return self._path.with_name(f"{self._path.name}.published")

    def known(self, origin: str, keys: Sequence[Verifier]) -> bytes | None:
        """The copy, or the last published checkpoint if that is larger; None where there is neither file yet.

        Both are signed by one of ``keys``, else SignatureRejected; MalformedInput for a file that cannot be read.
        """
        notes = [note for path in (self._path, self.published_path) if (note := _read(path)) is not None]
        sizes = [check_checkpoint(note, keys, origin).tree_size for note in notes]
        return notes[sizes.index(max(sizes))] if notes else None

    def keep_published(self, note: bytes) -> None:
        """Keep a published checkpoint, unless a later one is there; given to the book as ``on_published``."""
        try:
            _replace(self.published_path, note)
        except OSError as error:
            LOG.error("published checkpoint not copied: %s", error)  # noqa: TRY400  # the cause is in the message

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
        if self._newest:
            _replace(self._path, self._newest)


def _read(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise MalformedInput(f"checkpoint copy cannot be read: {error.strerror}", where=str(path)) from error


def _replace(path: Path, note: bytes) -> None:
    """Write a file anew, whole and durable, unless it holds a checkpoint at least as large. Raises OSError."""
    if _size_of(path) >= parse_checkpoint(note).tree_size:
        return
    beside = path.with_name(f"{path.name}.{os.getpid()}")
    with beside.open("wb") as file:
        file.write(note)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)


def _size_of(path: Path) -> int:
    try:
        return parse_checkpoint(path.read_bytes()).tree_size
    except (OSError, LedgerError):
        return -1
