"""What a witness remembers: for each log the last checkpoint that it cosigned, whole; and what logs showed that did not fit.

A SQLite file of the witness's own, nothing of a book's store.  A checkpoint is read, judged and kept in one immediate
transaction, flushed to the disk before anybody is answered (C2SP tlog-witness: two requests must not roll it back), so a
witness that is killed at any moment knows at least what it signed.  A file that was restored from a backup does not:
then the witness could sign a second history, which it cannot find out by itself.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import NamedTuple

from ledger.errors import StoreDamaged, StoreUnavailable
from ledger.store.dialect import Sqlite

VERSION = 1
_DIALECT = Sqlite()
KEPT_MISFITS = 1_000
"""Misfits that are kept of one log."""

_WITNESSED = """
CREATE TABLE witnessed (
    origin TEXT PRIMARY KEY, size INTEGER NOT NULL, note BLOB NOT NULL, cosigned_ms INTEGER NOT NULL
)
"""
_MISFIT = """
CREATE TABLE misfit (
    origin TEXT NOT NULL, size INTEGER NOT NULL, root BLOB NOT NULL, note BLOB NOT NULL, stored BLOB NOT NULL,
    came_ms INTEGER NOT NULL, why TEXT NOT NULL, PRIMARY KEY (origin, size, root)
)
"""
_SCHEMA = (_WITNESSED, _MISFIT, f"PRAGMA user_version = {VERSION}")


class Witnessed(NamedTuple):
    """The last checkpoint of a log that was cosigned: its size, the note with the cosignature lines, when."""

    size: int
    note: bytes
    cosigned_ms: int


class Misfit(NamedTuple):
    """A checkpoint that a log signed and that was not shown to extend the stored one: both notes, and why."""

    origin: str
    size: int
    root: bytes
    note: bytes
    stored: bytes
    came_ms: int
    why: str


Judge = Callable[[Witnessed | None], Witnessed]
"""Given what is stored of a log, gives what to store in its place, or raises: then nothing is stored."""


class WitnessState:
    """An opened state. Any thread may use it; several processes may share the file."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        """Wrap a connection that `open_witness_state` has set up."""
        self._connection = connection
        self._door = threading.Lock()
        self._flush_failed = False

    def exchange(self, origin: str, judge: Judge) -> Witnessed:
        """Have ``judge`` say what follows what is stored of a log, and keep that: both as one step, on the disk on return.

        Raises what ``judge`` raises, with nothing stored; StoreUnavailable where it cannot be kept.
        """
        with self._writing() as connection:
            found = judge(_stored(connection, origin))
            connection.execute(
                "INSERT INTO witnessed (origin, size, note, cosigned_ms) VALUES (?, ?, ?, ?) ON CONFLICT (origin) "
                "DO UPDATE SET size = excluded.size, note = excluded.note, cosigned_ms = excluded.cosigned_ms",
                (origin, *found),
            )
        return found

    def stored(self, origin: str) -> Witnessed | None:
        """What is stored of a log; None before its first checkpoint. Raises StoreUnavailable."""
        with self._reading() as connection:
            return _stored(connection, origin)

    def keep_misfit(self, misfit: Misfit) -> None:
        """Keep a misfit, once for each head, up to a number of them a log. Raises StoreUnavailable."""
        with self._writing() as connection:
            (count,) = connection.execute("SELECT COUNT(*) FROM misfit WHERE origin = ?", (misfit.origin,)).fetchone()
            if count < KEPT_MISFITS:
                connection.execute("INSERT OR IGNORE INTO misfit VALUES (?, ?, ?, ?, ?, ?, ?)", misfit)

    def every(self) -> dict[str, Witnessed]:
        """What is stored of each log. Raises StoreUnavailable."""
        with self._reading() as connection:
            rows = connection.execute(
                "SELECT origin, size, note, cosigned_ms FROM witnessed ORDER BY origin"
            ).fetchall()
        return {origin: Witnessed(*rest) for origin, *rest in rows}

    def misfits(self) -> list[Misfit]:
        """Every misfit, as they came. Raises StoreUnavailable."""
        with self._reading() as connection:
            rows = connection.execute("SELECT * FROM misfit ORDER BY came_ms, origin, size").fetchall()
        return [Misfit(*row) for row in rows]

    def close(self) -> None:
        """Close the file."""
        with self._door:
            self._connection.close()

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._door, _told():
            if self._flush_failed:
                raise StoreUnavailable("witness's state failed to flush", mend="check the disk, then start again")
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException as error:
                # After a failed flush the system may say of the next one that all is well.
                self._flush_failed = _DIALECT.is_flush_failure(error)
                with suppress(sqlite3.Error):
                    self._connection.rollback()
                raise

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with self._door, _told():
            yield self._connection


def open_witness_state(path: Path, *, begin: bool = False) -> WitnessState:
    """Open a witness's state; ``begin`` makes it, and then there must be none.

    A witness that found no state and went on with an empty one would sign again what it had seen otherwise. Raises
    StoreUnavailable, also for a file of another sort or of a newer program.
    """
    if path.exists() == begin:
        raise StoreUnavailable(
            "witness's state is there already" if begin else "witness's state is not there",
            where=str(path),
            mend="leave --begin out"
            if begin
            else "name the file it has, or begin one with --begin and be a new witness",
        )
    with _told():
        connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        try:
            _DIALECT.prepare(connection)
            connection.execute("BEGIN IMMEDIATE")
            if begin:
                for statement in _SCHEMA:
                    connection.execute(statement)
            (version,) = connection.execute("PRAGMA user_version").fetchone()
            connection.execute("COMMIT")
        except BaseException:
            connection.close()
            raise
    if version != VERSION:
        connection.close()
        raise StoreUnavailable("file is no state of a witness that this program knows", where=str(path))
    return WitnessState(connection)


def _stored(connection: sqlite3.Connection, origin: str) -> Witnessed | None:
    found = connection.execute("SELECT size, note, cosigned_ms FROM witnessed WHERE origin = ?", (origin,)).fetchone()
    return None if found is None else Witnessed(*found)


@contextmanager
def _told() -> Iterator[None]:
    """SQLite's errors in the project's terms."""
    try:
        yield
    except sqlite3.Error as error:
        damaged = (getattr(error, "sqlite_errorcode", 0) or 0) & 0xFF in {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
        raise (StoreDamaged if damaged else StoreUnavailable)(
            "witness's state cannot be used", got=getattr(error, "sqlite_errorname", type(error).__name__)
        ) from error
