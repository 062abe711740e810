"""The database's driver alone, without this project's store: what floors are made of, on both databases."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

AT_ONCE = 16_384
"""Rows that a floor fetches together."""


@contextmanager
def connect(url: str) -> Iterator[Any]:
    """A connection of the driver that commits each statement, closed at the end of the block."""
    connection = open_connection(url)
    try:
        yield connection
    finally:
        connection.close()


def open_connection(url: str) -> Any:
    """The same, for the caller to close; any thread may use it."""
    if url.startswith("sqlite:"):
        return sqlite3.connect(url.removeprefix("sqlite:///"), isolation_level=None, check_same_thread=False)
    import psycopg  # noqa: PLC0415  # measuring SQLite does without it

    return psycopg.connect(url, autocommit=True)


def one_value(url: str, query: str) -> Any:
    """The first column of a query's first row."""
    with connect(url) as connection:
        return connection.execute(query).fetchone()[0]


def stream_rows(url: str, query: str) -> Iterator[Sequence[Any]]:
    """Every row of a query, `AT_ONCE` together, as fast as the driver gives them; memory of one fetch."""
    with connect(url) as connection:
        if isinstance(connection, sqlite3.Connection):
            yield from _fetched(connection.execute(query))
            return
        with connection.transaction(), connection.cursor("stream", binary=True) as cursor:
            # Of the two forms that cells travel in, the binary one is quicker for bytes.
            cursor.execute(query)
            yield from _fetched(cursor)


def _fetched(cursor: Any) -> Iterator[Sequence[Any]]:
    while rows := cursor.fetchmany(AT_ONCE):
        yield rows
