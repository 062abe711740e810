"""All that differs between SQLite and PostgreSQL, in one place.

SQL in this package is written once, with ``?`` for a parameter and every identifier in double quotes; `Dialect.sql`
turns it into the driver's form.  Lists are one parameter each, so a statement has one text whatever the length of its
list, and stays prepared.

Durability: SQLite in WAL mode with ``synchronous=FULL`` (https://www.sqlite.org/pragma.html#pragma_synchronous), a
commit being on the disk when it returns; PostgreSQL with ``fsync`` and ``synchronous_commit`` on, which is checked.
"""

from __future__ import annotations

import sqlite3
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import msgspec

from ledger.errors import StoreUnavailable, Unsupported
from ledger.store.blocks import insert_in_blocks

BUSY_MS = 15_000
"""How long a connection waits for another one's lock, in milliseconds."""

_LIMITS_TRANSACTIONS = 170_000
"""The first version of PostgreSQL with ``transaction_timeout``, as ``server_version_num``."""

WAL_PAGES = 8_192
"""WAL pages (4 KiB) before SQLite copies them back: large, so that the copying adds few flushes to each commit."""

_KEPT: dict[str, tuple[str, ...]] = {
    "fsync": ("on",),
    "full_page_writes": ("on",),
    # `local` waits for this server's own disk; with a standby, `remote_apply` waits for that one too.
    "synchronous_commit": ("on", "remote_apply", "remote_write", "local"),
}
"""Settings of a server, and the values under which a commit that returned is not lost with the machine
(https://www.postgresql.org/docs/18/runtime-config-wal.html)."""

_ROOM = (
    "SELECT current_setting('max_connections')::int - current_setting('superuser_reserved_connections')::int "
    # Since PostgreSQL 16.
    "- COALESCE(NULLIF(current_setting('reserved_connections', true), '')::int, 0), "
    "(SELECT rolconnlimit FROM pg_roles WHERE rolname = current_user), "
    "(SELECT datconnlimit FROM pg_database WHERE datname = current_database())"
)
"""Connections that the server has for everybody, and that the role and the database may have; -1: no limit of theirs."""

_PLACE = (
    "SELECT system_identifier, substr(pg_walfile_name(pg_current_wal_lsn()), 1, 8), current_database() "
    "FROM pg_control_system()"
)
"""The number that a cluster has from its making on, its timeline as logs are named by it, and the database."""

_encode = msgspec.json.Encoder().encode


class Dialect(ABC):
    """One database's ways. The two subclasses are the only ones. ``busy_ms``: how long to wait for another's lock."""

    name: str
    begin_write: str
    begin_read: str
    begin_temporary: str
    """Begins a transaction that makes temporary tables, on a connection that may write nothing else too."""
    head_lock: str
    beside_lock: str
    move_lock: str
    """Statements of who writes beside the book, and of who closes a store (`ledger.store.moved`): each waits for the other,
    and neither for the writer of entries. Empty where a write locks the whole store anyway."""
    hold_tables: tuple[str, ...]
    take_tables: tuple[str, ...]
    take_own: tuple[str, ...]
    """Statements over a list of tables: until this transaction ends nobody may exchange them; or nobody else may even
    read them, others' tables or those that nobody but the server's own upkeep is at. None where a transaction sees the
    tables of its beginning anyway."""
    unhurried: tuple[str, ...] = ()
    """Statements after which those of this transaction may take as long as they do."""
    before_fold: tuple[str, ...]
    after_fold: tuple[str, ...]
    """Settings of a connection that folds the whole book into empty tables, and then compares them."""
    errors: type[Exception]
    asking: Mapping[str, bool] = MappingProxyType({})
    """How the driver is to bring the rows of a query."""
    commit = "COMMIT"
    works_beside = False
    """Whether the database works on a statement while this process goes on."""

    def __init__(self, busy_ms: int = BUSY_MS) -> None:
        """Keep how long a connection waits."""
        self.busy_ms = busy_ms
        self.statement_ms = 0
        """How long one statement may take on a connection that is opened from now on; 0: as long as it does."""
        self.log_pages = WAL_PAGES
        """Pages of SQLite's log from which a commit on such a connection copies them back; 0: none does."""

    @property
    def begin_group(self) -> str:
        """How a group of entries begins to write: as any other, with a limit to the whole where the database knows one."""
        return self.begin_write

    @abstractmethod
    def sql(self, text: str) -> str:
        """The statement in the driver's form."""

    @abstractmethod
    def any_of(self, column: str) -> str:
        """The condition that a quoted column is one of a list parameter (`list_value`)."""

    @abstractmethod
    def list_value(self, values: Sequence[Any]) -> Any:
        """A list of texts or whole numbers as one parameter."""

    def run_many(self, cursor: Any, text: str, rows: Sequence[Sequence[Any]]) -> None:
        """Execute one statement for each row of values."""
        cursor.executemany(self.sql(text), rows)

    def gathered(self, connection: Any) -> Any:  # noqa: ARG002  # SQLite is no message away
        """What takes statements for a driver connection until they go together; None where there is no such thing."""
        return None

    def sent_ahead(self, connection: Any) -> Any:  # noqa: ARG002  # SQLite works on the thread that asks it
        """What takes statements for a driver connection without waiting for them; None where there is no such thing."""
        return None

    @abstractmethod
    def prepare(self, connection: Any) -> None:
        """Set up a new driver connection, and check that what it is asked to keep is kept."""

    def room(self, transaction: Any) -> int | None:  # noqa: ARG002  # a file has no such limit
        """How many connections one who is signed in like this may have in all; None for as many as one likes."""
        return None

    @abstractmethod
    def place(self, transaction: Any) -> str:
        """Which store this is, as two processes of one machine see it: the same for both, and for no copy."""

    @abstractmethod
    def clean_erased(self, transaction: Any) -> bool:
        """Take out of the files what deleted rows left there; whether it was done. Outside any transaction."""

    @abstractmethod
    def is_flush_failure(self, error: BaseException) -> bool:
        """Whether the operating system reported that writing or flushing failed: nothing in memory can be trusted."""

    @abstractmethod
    def is_busy(self, error: BaseException) -> bool:
        """Whether another connection held the lock for longer than we wait; nothing was done."""

    def is_overdue(self, error: BaseException) -> bool:  # noqa: ARG002  # SQLite has no such limit
        """Whether a statement took longer than ``statement_ms``; its transaction is to be taken back."""
        return False

    @abstractmethod
    def is_lost(self, error: BaseException) -> bool:
        """Whether the connection is gone; the next one may work."""


class Sqlite(Dialect):
    """SQLite 3.35 or newer, one file."""

    name = "sqlite"
    begin_write = "BEGIN IMMEDIATE"
    begin_read = "BEGIN"
    begin_temporary = "BEGIN"
    head_lock = ""
    beside_lock = ""
    move_lock = ""
    hold_tables = ()
    take_tables = ()
    take_own = ()
    # Temporary tables of a large book do not fit into memory.
    before_fold = ("PRAGMA temp_store=FILE", "PRAGMA temp.cache_size=-65536")
    after_fold = ()
    errors = sqlite3.Error

    def sql(self, text: str) -> str:
        """The statement as it is."""
        return text

    def any_of(self, column: str) -> str:
        """A list is JSON text, read by json_each."""
        return f"{column} IN (SELECT value FROM json_each(?))"

    def list_value(self, values: Sequence[Any]) -> Any:
        """JSON text of the list."""
        return _encode(values).decode()

    def run_many(self, cursor: Any, text: str, rows: Sequence[Sequence[Any]]) -> None:
        """The same, an INSERT for a block of rows at once."""
        insert_in_blocks(cursor, text, rows)

    def prepare(self, connection: Any) -> None:
        """WAL, full flushes, foreign keys, zeros over what is deleted, and delete triggers that also fire for INSERT OR REPLACE."""
        connection.isolation_level = None
        for pragma in (
            f"busy_timeout={self.busy_ms}",
            "synchronous=FULL",
            "foreign_keys=ON",
            "recursive_triggers=ON",
            f"wal_autocheckpoint={self.log_pages}",
            "cache_size=-65536",
            "temp_store=MEMORY",
            # Whatever the library was built with: deleted rows are overwritten, also where rows moved to another page.
            "secure_delete=ON",
        ):
            connection.execute(f"PRAGMA {pragma}").close()
        if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
            mode = connection.execute("PRAGMA journal_mode=WAL").fetchone()[0]
            if mode != "wal":
                raise Unsupported("database keeps no write-ahead log", expected="journal_mode wal", got=mode)

    def place(self, transaction: Any) -> str:
        """The file, by its number on its device."""
        found = Path(transaction.row("PRAGMA database_list")[2]).stat()
        return f"file {found.st_dev} {found.st_ino}"

    def clean_erased(self, transaction: Any) -> bool:
        """Copy the write-ahead log back and empty it; not while a reader looks at it, and the writer does not wait."""
        transaction.run("PRAGMA busy_timeout=0")
        busy = transaction.row("PRAGMA wal_checkpoint(TRUNCATE)")[0]
        transaction.run(f"PRAGMA busy_timeout={self.busy_ms}")
        return not busy

    def is_flush_failure(self, error: BaseException) -> bool:
        """Any SQLITE_IOERR."""
        code = getattr(error, "sqlite_errorcode", 0) or 0
        return code & 0xFF == sqlite3.SQLITE_IOERR

    def is_busy(self, error: BaseException) -> bool:
        """SQLITE_BUSY and its extended codes."""
        code = getattr(error, "sqlite_errorcode", 0) or 0
        return code & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)

    def is_lost(self, error: BaseException) -> bool:  # noqa: ARG002  # a file has no connection to lose
        """Never."""
        return False


class Postgres(Dialect):
    """PostgreSQL 14 or newer through psycopg 3."""

    name = "postgresql"
    works_beside = True
    # Values travel as the server holds them: bytes as text would be twice as long.
    asking = MappingProxyType({"binary": True})
    begin_write = "BEGIN ISOLATION LEVEL READ COMMITTED"
    begin_read = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"
    begin_temporary = "BEGIN READ WRITE"
    head_lock = " FOR UPDATE"
    unhurried = ("SET LOCAL statement_timeout = 0",)
    # Advisory locks of this database, under a number of our own.
    beside_lock = "SELECT pg_advisory_xact_lock_shared(7021937)"
    move_lock = "SELECT pg_advisory_xact_lock(7021937)"
    hold_tables = ("LOCK TABLE {} IN ACCESS SHARE MODE",)
    # Shorter than the server's search for deadlocks, so that it is this transaction that gives way to readers.
    take_tables = ("SET LOCAL lock_timeout = 200", "LOCK TABLE {} IN ACCESS EXCLUSIVE MODE")
    # Longer than that search: with it the server ends its vacuum of a table that somebody else wants.
    take_own = ("SET LOCAL lock_timeout = 5000", "LOCK TABLE {} IN ACCESS EXCLUSIVE MODE")
    # A prepared statement that was planned while its table was empty would read the whole of it for ever.
    before_fold = ("SET enable_seqscan = off", "SET statement_timeout = 0")
    after_fold = ("RESET enable_seqscan",)
    # A commit that waits for a standby would come back as done when its time is up, with the standby lacking it.
    commit = "SET LOCAL statement_timeout = 0; COMMIT"

    def __init__(self, busy_ms: int = BUSY_MS) -> None:
        """Import the driver; only a PostgreSQL store needs it."""
        super().__init__(busy_ms)
        # A process that is stopped in the middle holds the head's lock: the server ends its transaction before those who
        # wait for the lock give up. What it did is taken back, and it finds its connection gone.
        self.begin_write = (
            f"{self.begin_write}; SET LOCAL idle_in_transaction_session_timeout = {max(busy_ms // 2, 1_000)}"
        )
        self._limits_transactions = False
        import psycopg  # noqa: PLC0415  # a SQLite store must start without it

        from ledger.store import array_rows, gathered, packed_arrays  # noqa: PLC0415  # they need the driver, and this module

        self._write_in_arrays, self._arrays_ahead = array_rows.write_in_arrays, array_rows.ArraysAhead
        self._gathered = gathered.Gathered
        self._pack_list, self._register_arrays = packed_arrays.pack_list, packed_arrays.register_arrays
        self.errors = psycopg.Error
        # The first word of a connection that was cut off for standing still is an error of its own.
        cut_off = (psycopg.errors.IdleInTransactionSessionTimeout, psycopg.errors.TransactionTimeout)
        self._lost = (psycopg.OperationalError, psycopg.InterfaceError, *cut_off)
        self._busy = (psycopg.errors.LockNotAvailable, psycopg.errors.DeadlockDetected)
        self._overdue = psycopg.errors.QueryCanceled

    @property
    def begin_group(self) -> str:
        """In the middle of a message longer than one write of libpq's, no other limit ends a transaction that stands still.

        The whole may take four times as long as others wait for its lock. A commit is not counted.
        """
        limit = f"; SET LOCAL transaction_timeout = {4 * max(self.busy_ms, 1_000)}" if self._limits_transactions else ""
        return self.begin_write + limit

    @staticmethod
    @cache
    def _translated(text: str) -> str:
        return text.replace("%", "%%").replace("?", "%s")

    def sql(self, text: str) -> str:
        """The statement with ``%s`` for each parameter."""
        return self._translated(text)

    def any_of(self, column: str) -> str:
        """A list is an array."""
        return f"{column} = ANY(?)"

    def list_value(self, values: Sequence[Any]) -> Any:
        """A packed array."""
        return self._pack_list(values)

    def run_many(self, cursor: Any, text: str, rows: Sequence[Sequence[Any]]) -> None:
        """The same, all rows in one statement where there are several; a row alone costs least by itself."""
        if len(rows) == 1:
            cursor.execute(self.sql(text), rows[0])
        elif rows and not self._write_in_arrays(cursor, text, rows):
            super().run_many(cursor, text, rows)

    def gathered(self, connection: Any) -> Any:
        """A message, and a plan, for all of them."""
        return self._gathered(connection)

    def sent_ahead(self, connection: Any) -> Any:
        """The server is another process."""
        return self._arrays_ahead(connection)

    def prepare(self, connection: Any) -> None:
        """Explicit transactions, a bounded wait for locks and time for statements, and a check that commits are durable."""
        connection.autocommit = True
        self._limits_transactions = connection.info.server_version >= _LIMITS_TRANSACTIONS
        self._register_arrays(connection)
        connection.execute(
            f"SET lock_timeout = {self.busy_ms}; SET statement_timeout = {self.statement_ms}; "
            "SET client_encoding = 'UTF8'"
        )
        connection.execute("SET client_min_messages = warning")
        for setting, kept in _KEPT.items():
            value = connection.execute(f"SHOW {setting}").fetchone()[0]
            if value not in kept:
                raise StoreUnavailable(
                    "server could lose what it has acknowledged",
                    expected=f"{setting} {' or '.join(kept)}",
                    got=value,
                    mend=f"set {setting} = on",
                )

    def room(self, transaction: Any) -> int | None:
        """The least of what server, role and database allow; what is kept for others counts as not there."""
        found: tuple[int, ...] = transaction.row(_ROOM)
        return min(limit for limit in found if limit >= 0)

    def place(self, transaction: Any) -> str:
        """The database of the server's own number, and the timeline: a standby that took over has another one."""
        return "database " + " ".join(map(str, transaction.row(_PLACE)))

    def clean_erased(self, transaction: Any) -> bool:
        """Vacuum the tables that erasures delete from; the server does the rest in its own time."""
        transaction.run("SET statement_timeout = 0")
        try:
            for table in ("opening", "account", "blob", "password", "session", "sign_in", "device"):
                transaction.run(f"VACUUM {quoted(table)}")
        finally:
            transaction.run(f"SET statement_timeout = {self.statement_ms}")
        return True

    def is_flush_failure(self, error: BaseException) -> bool:  # noqa: ARG002  # the server stops itself when a flush fails
        """Never: the server ends itself on a failed flush, and the connection is then lost."""
        return False

    def is_busy(self, error: BaseException) -> bool:
        """The lock wait ran out, or two transactions waited for each other."""
        return isinstance(error, self._busy)

    def is_overdue(self, error: BaseException) -> bool:
        """The server cancelled the statement."""
        return isinstance(error, self._overdue)

    def is_lost(self, error: BaseException) -> bool:
        """Operational errors other than a lock's or a cancelled statement's."""
        return isinstance(error, self._lost) and not self.is_busy(error) and not self.is_overdue(error)


def quoted(name: str) -> str:
    """An identifier in double quotes; names come from the tables of this package only."""
    return f'"{name}"'
