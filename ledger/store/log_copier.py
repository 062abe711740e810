"""SQLite's write-ahead log is copied back into the database beside the writer, on a thread of its own.

SQLite copies the log back within the commit that fills it (`ledger.store.dialect.WAL_PAGES`): whoever registered in that
group waits for the pages of all groups before, a tenth of a second on a book of a million balls.  Here most of them are
copied while the writer goes on; the writer copies what is left of a full log (`LogCopier.finish`), and its next commit then
begins the log anew.

Up to SQLite 3.51.2 a copying that begins when all is copied already, while another connection's commit begins the log anew,
may mark pages as copied that are not (https://www.sqlite.org/wal.html, "The WAL-Reset Bug").  So no connection of this
process copies by itself while this does (`Store.copy_log`), one copying goes on at a time, and none begins unless the log
holds frames that no earlier one has seen: while these wait, no commit begins the log anew.  (What remains: commands that
write beside the service, whose commits copy a full log as ever; and frames that a transaction of over 64 MB left when it
was taken back.)

How far the log goes is read from it as https://www.sqlite.org/fileformat2.html, section 4.1, describes it: its frames since
it last began anew bear the salts of its header.  Its index would say it in fewer words, but SQLite locks that file, and
whoever in this process closed it would end those locks (https://www.sqlite.org/howtocorrupt.html, section 2.2).
"""

from __future__ import annotations

import sqlite3
import struct
import threading
from collections.abc import Callable
from contextlib import closing
from io import FileIO

from ledger.store.dialect import WAL_PAGES

WAITING_PAGES = WAL_PAGES // 4
"""Pages that wait before they are copied; with fewer, pages that many groups change would be copied as often."""

LEFT_PAGES = WAL_PAGES // 32
"""Pages from which the writer copies what is left of a full log: not at every commit while a reader keeps it full."""

_HEADER = struct.Struct(">4xII4x8s8x")
"""The form's version, the size of a page, and the salts."""

_FRAME = struct.Struct(">8x8s8x")
"""The salts of a frame, which its page follows."""

_VERSION = 3_007_000

Seen = tuple[bytes, int]
"""The salts of a log, and how many frames it held."""

NONE_SEEN: Seen = (b"", 0)


class LogCopier:
    """``start`` it once, tell it of each commit, ``stop`` it.

    ``failed`` hears of every error of a copying, on the thread that copied; after the next commit it is tried again.
    """

    def __init__(self, path: str, failed: Callable[[sqlite3.Error], None]) -> None:
        """For the database in this file. Nothing is opened yet."""
        self._path = path
        self._failed = failed
        self._due = threading.Event()
        self._stopped = False
        self._one = threading.Lock()
        self._seen = NONE_SEEN
        """As the log was last copied."""
        self._thread = threading.Thread(target=self._run, name="log-copier", daemon=True)

    def start(self) -> None:
        """Wait for work."""
        self._thread.start()

    def committed(self) -> None:
        """Something was committed, on any thread: where enough waits, have it copied. A few short system calls."""
        if log_holding(self._path, self._seen, WAITING_PAGES) is not None:
            self._due.set()

    def finish(self) -> None:
        """Copy what is left of a full log, on the writer's thread after its commit, unless it is being copied."""
        if log_holding(self._path, NONE_SEEN, WAL_PAGES) is not None and self._one.acquire(blocking=False):
            try:
                self._copy(LEFT_PAGES)
            finally:
                self._one.release()

    def stop(self) -> None:
        """Finish what is being copied."""
        self._stopped = True
        self._due.set()
        if self._thread.is_alive():
            self._thread.join()

    def _run(self) -> None:
        while True:
            self._due.wait()
            self._due.clear()
            if self._stopped:
                return
            with self._one:
                self._copy(WAITING_PAGES)

    def _copy(self, least: int) -> None:
        salts = log_holding(self._path, self._seen, least)
        if salts is None:
            return
        try:
            with closing(sqlite3.connect(self._path, isolation_level=None)) as connection:
                connection.execute("PRAGMA synchronous=FULL")
                # Passive: it waits for nobody, and nobody waits for it. What a reader needs as it was stays in the log.
                _, frames, _ = connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
        except sqlite3.Error as error:
            self._failed(error)
        else:
            self._seen = (salts, max(frames, 0))


def log_holding(path: str, seen: Seen, frames: int) -> bytes | None:
    """The salts of the log of the database in a file, if it holds so many frames beyond those seen; None else, or without a log.

    With other salts than those seen it has begun anew, and none of its frames was seen.
    """
    try:
        with FileIO(f"{path}-wal") as log:
            header = log.read(_HEADER.size)
            if len(header) < _HEADER.size:
                return None
            version, page, salts = _HEADER.unpack(header)
            before = seen[1] if seen[0] == salts else 0
            log.seek(_HEADER.size + (before + frames - 1) * (_FRAME.size + page))
            frame = log.read(_FRAME.size)
    except OSError:
        return None
    holds = version == _VERSION and len(frame) == _FRAME.size and _FRAME.unpack(frame) == (salts,)
    return bytes(salts) if holds else None
