"""Opening a store: ``sqlite:///path`` or ``postgresql://...``, its schema brought up to date, its views in shape.

What is durable when: see `ledger.store.dialect`.  Who may write: see `ledger.store.writer`; nothing else begins a
transaction over the book.
"""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.exc import TimeoutError as NoneFree

from ledger.errors import StoreUnavailable, Unsupported
from ledger.store.archived_entries import ARCHIVE, ARCHIVED, ArchivedEntries, Place
from ledger.store.dialect import BUSY_MS, WAL_PAGES, Dialect, Postgres, Sqlite
from ledger.store.entry_ranges import ENTRY_RANGE
from ledger.store.log_copier import LogCopier
from ledger.store.migrations import LATEST
from ledger.store.moved import check_open
from ledger.store.transaction import Transaction

if TYPE_CHECKING:
    from ledger.store.pen import Pen

CONNECTIONS = 32
"""Most connections of one process, unless it says how many of its threads may ask at once."""

_ARCHIVE = f'SELECT "name", "value" FROM "setting" WHERE "name" IN (\'{ARCHIVE}\', \'{ARCHIVED}\')'


class Store:
    """One opened store. Threads share it; each takes its own `Transaction`."""

    def __init__(self, engine: Engine, dialect: Dialect) -> None:
        """Wrap an engine that `open_store` has set up."""
        self.engine = engine
        self.dialect = dialect
        self.archived = ArchivedEntries(self.archive_place) if dialect.name == "postgresql" else None
        self.log_copier: LogCopier | None = None
        """What copies SQLite's log back beside the writer, while there is one."""
        self.pen: Pen | None = None
        """What its writer shares with those of other processes, where `ledger.store.pen.share_pen` was called."""

    def archive_place(self) -> Place | None:
        """Where archived entries lie, as of now; None where none are."""
        with self.reading() as transaction:
            found = dict(transaction.rows(_ARCHIVE))
        return Place(found[ARCHIVE], int(found.get(ARCHIVED, 0))) if ARCHIVE in found else None

    def transaction(self) -> Transaction:
        """A connection of one's own. Raises StoreUnavailable, also where none comes free while one waits for a lock."""
        try:
            return Transaction(self.engine, self.dialect, self.archived)
        except (SQLAlchemyError, self.dialect.errors) as error:
            raise _unavailable(error) from error

    @contextmanager
    def reading(self) -> Iterator[Transaction]:
        """A consistent look at the store; every query in the block sees one state of it.

        Raises StoreUnavailable for a statement that takes longer than it may; so does `writing`.
        """
        transaction = self.transaction()
        with self._in_time():
            try:
                transaction.begin_read()
                yield transaction
            finally:
                transaction.rollback()
                transaction.close()

    @contextmanager
    def writing(self, *, moved_too: bool = False) -> Iterator[Transaction]:
        """A write beside the book (accounts, tokens, blobs, settings); commits at the end, takes back on an error.

        ``moved_too``: it is about this store and not its book, and may be done where the book is no more. Raises StoreError
        for any other write to a store that was moved or is a copy not finished (`ledger.store.moved`).
        """
        transaction = self.transaction()
        with self._in_time():
            try:
                transaction.begin_write()
                if not moved_too:
                    check_open(transaction)
                yield transaction
                transaction.commit()
            except BaseException:
                transaction.rollback()
                raise
            else:
                if self.log_copier is not None:
                    self.log_copier.committed()
            finally:
                transaction.close()

    @contextmanager
    def _in_time(self) -> Iterator[None]:
        try:
            yield
        except self.dialect.errors as error:
            if not self.dialect.is_overdue(error):
                raise
            raise StoreUnavailable(
                "store took too long over a statement",
                expected=f"at most {self.dialect.statement_ms / 1000:g} s",
                mend="ask for less at once, or again when less is going on",
            ) from error

    def limit_statements(self, seconds: float) -> None:
        """Let no statement take longer from here on (PostgreSQL); 0: as long as it does.

        Not a commit, a rebuild, a check of the book or a long look: those take as long as they do.
        """
        self.dialect.statement_ms = round(seconds * 1000)
        self.engine.dispose()

    def check_room(self, connections: int) -> None:
        """Check that the server may give one process this many connections. Raises StoreUnavailable."""
        with self.reading() as transaction:
            room = self.dialect.room(transaction)
        if room is not None and room < connections:
            raise StoreUnavailable(
                "database gives fewer connections than one process of the service may take",
                expected=f"{connections} at least",
                got=room,
                mend="raise max_connections of the server, or the connection limit of the role or database",
            )

    def place(self) -> str:
        """Which store this is: the same for every process of this machine that opened it, and for no copy of it."""
        with self.reading() as transaction:
            return self.dialect.place(transaction)

    @property
    def url(self) -> str:
        """Its address, with the password that may be in it."""
        return self.engine.url.render_as_string(hide_password=False)

    def schema_version(self) -> str | None:
        """The revision that the schema stands at; None for an empty database."""
        with self.reading() as transaction:
            if not table_exists(transaction, "alembic_version"):
                return None
            found = transaction.row('SELECT "version_num" FROM "alembic_version"')
        return None if found is None else str(found[0])

    def check_schema(self) -> None:
        """Check that the schema is this program's, where it shall not be brought up to date. Raises Unsupported."""
        found = self.schema_version()
        if found != LATEST:
            raise Unsupported(
                "store has the schema of another version of this program",
                expected=LATEST,
                got=found or "none",
                mend="let this version bring it up to date once, with nothing else using it: pourbook rebuild"
                if (found or "") < LATEST
                else "use the version that last wrote it",
            )

    def migrate(self, entry_range: int = ENTRY_RANGE) -> None:
        """Bring the truth tables and triggers to the latest revision. Never goes back."""
        if self.schema_version() == LATEST:
            return
        # Alembic takes a third of a second to import, and an up-to-date store does not need it.
        from ledger.store.migrations.run import upgrade  # noqa: PLC0415

        upgrade(self.engine, self.dialect, entry_range=entry_range)
        with self.writing(moved_too=True) as transaction:
            transaction.run(
                'INSERT INTO "setting" ("name", "value") VALUES (?, ?) ON CONFLICT DO NOTHING',
                ("request-secret", secrets.token_hex(32)),
            )

    def commit(self, transaction: Transaction) -> None:
        """Commit a group of the writer; when this returns it is on the disk."""
        transaction.commit()

    def copy_log(self, failed: Callable[[sqlite3.Error], None]) -> None:
        """Have SQLite's log copied back beside the writer, and by no connection of this process within its commit.

        ``failed``: see `LogCopier`. Nothing on PostgreSQL, whose server does this by itself.
        """
        self.leave_log()
        path = self.engine.url.database
        if isinstance(self.dialect, Sqlite) and path:
            self._renew_connections(0)
            self.log_copier = LogCopier(path, failed)
            self.log_copier.start()

    def leave_log(self) -> None:
        """Have the log copied by the commits that fill it, as before."""
        copier, self.log_copier = self.log_copier, None
        if copier is not None:
            copier.stop()
            self._renew_connections(WAL_PAGES)

    def _renew_connections(self, log_pages: int) -> None:
        self.dialect.log_pages = log_pages
        self.engine.dispose()

    def close(self) -> None:
        """Close every pooled connection."""
        self.engine.dispose()


def open_store(
    url: str,
    *,
    migrate: bool = True,
    read_only: bool = False,
    busy_ms: int = BUSY_MS,
    connections: int = CONNECTIONS,
    statement_s: float = 0,
    entry_range: int = ENTRY_RANGE,
) -> Store:
    """Open a store; with ``migrate`` its schema is brought up to date and its views are made anew if they are of
    another shape. ``read_only``: the database refuses to be written, which goes with ``migrate=False``. ``busy_ms`` is how
    long a connection waits for another one's lock, and a thread for a connection to come free; there are at most
    ``connections``, opened as they are asked for. ``statement_s``: see `Store.limit_statements`. ``entry_range``: entries of
    a range (`ledger.store.entry_ranges`), of a PostgreSQL store whose ranges are made by this call; a multiple of 256.

    Raises StoreUnavailable when it cannot be reached, Unsupported for a database that this project does not know.
    """
    store = Store(*_engine_of(url, busy_ms, connections, read_only=read_only))
    try:
        store.transaction().close()
        if migrate:
            store.migrate(entry_range)
            from ledger.store.rebuild import prepare_views  # noqa: PLC0415  # rebuild needs Store

            prepare_views(store)
        if statement_s:
            store.limit_statements(statement_s)
    except BaseException:
        store.close()
        raise
    return store


def table_exists(transaction: Transaction, name: str) -> bool:
    """Whether the store has a table of this name."""
    catalogue = {
        "sqlite": "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?",
        "postgresql": "SELECT 1 FROM pg_tables WHERE schemaname = current_schema() AND tablename = ?",
    }
    return transaction.row(catalogue[transaction.dialect.name], (name,)) is not None


def _engine_of(url: str, busy_ms: int, connections: int, *, read_only: bool) -> tuple[Engine, Dialect]:
    try:
        parsed = make_url(url)
    except SQLAlchemyError as error:
        raise Unsupported("store address cannot be read", expected="sqlite:///file or postgresql://...") from error
    backend = parsed.get_backend_name()
    dialect: Dialect
    pool = {"pool_size": connections, "max_overflow": 0, "pool_timeout": busy_ms / 1000}
    if backend == "sqlite":
        if not parsed.database or parsed.database == ":memory:":
            raise Unsupported("a book in memory would be lost", expected="sqlite:///file")
        dialect = Sqlite(busy_ms)
        if read_only:
            file = f"file:{quote(parsed.database)}"
            parsed = parsed.set(database=file, query={"mode": "ro", "uri": "true"})
        engine = create_engine(parsed, connect_args={"check_same_thread": False, "timeout": 0}, **pool)
    elif backend == "postgresql":
        dialect = Postgres(busy_ms)
        # A server that was restarted leaves dead connections in the pool: each is tried before it is used.
        engine = create_engine(
            parsed.set(drivername="postgresql+psycopg"),
            connect_args={"connect_timeout": 10},
            pool_pre_ping=True,
            **pool,
        )
    else:
        raise Unsupported("database is not known", expected="sqlite or postgresql", got=backend)

    @event.listens_for(engine, "connect")
    def prepare(connection: Any, _record: Any) -> None:
        dialect.prepare(connection)
        if read_only and backend == "postgresql":
            connection.execute("SET default_transaction_read_only = on")

    return engine, dialect


def _unavailable(error: Exception) -> StoreUnavailable:
    if isinstance(error, NoneFree):
        return StoreUnavailable(
            "every connection of this process to the store is in use", mend="ask again when less is going on"
        )
    # The driver's text may hold the address with its password, so only its class is told.
    cause = getattr(error, "orig", None) or error
    return StoreUnavailable(
        "store cannot be opened",
        got=type(cause).__name__,
        mend="check that the address, file or server is right and free",
    )
