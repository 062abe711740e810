"""Statements that PostgreSQL works on while this process goes on: sent, and their answers taken later.

libpq's pipeline mode, with a Sync after each statement (PostgreSQL 18, chapter 32.5): between two of them the server
waits as after any statement, so that its limit on a transaction that stands still holds (`Postgres.begin_write`).
The driver's own pipeline sends none before it wants an answer.  Statements are not prepared: the driver drops all that
are, its own and others', after a ROLLBACK.
"""

from __future__ import annotations

from collections.abc import Sequence
from selectors import EVENT_READ, EVENT_WRITE, DefaultSelector
from typing import Any

from psycopg import Connection, OperationalError, errors, pq

FAILED = frozenset({pq.ExecStatus.FATAL_ERROR, pq.ExecStatus.BAD_RESPONSE})


class SentAhead:
    """What one connection was sent, and has not answered yet. Nothing else may use it before `settle`."""

    def __init__(self, connection: Connection[Any]) -> None:
        """Nothing is sent yet."""
        self._pgconn = connection.pgconn
        self._within = False
        self._waiting = 0

    def send(self, text: bytes, types: Sequence[int], values: Sequence[bytes | None]) -> None:
        """Send a statement with ``$1``, ``$2``... and its values in binary form, whose answer is no rows.

        ``types``: their OIDs. Raises psycopg.OperationalError for a connection that is lost.
        """
        if not self._within:
            self._pgconn.enter_pipeline_mode()
            self._within = True
        self._pgconn.send_query_params(text, values, types, [pq.Format.BINARY] * len(values))
        self._pgconn.pipeline_sync()
        self._waiting += 1
        while self._pgconn.flush():
            self._wait(EVENT_READ | EVENT_WRITE)

    def settle(self) -> None:
        """Wait until all is done. Raises the psycopg.Error of the first that failed, once all are answered."""
        if not self._within:
            return
        failed: list[pq.abc.PGresult] = []
        waiting, self._within, self._waiting = self._waiting, False, 0
        while waiting:
            found = self._answer()
            if found.status == pq.ExecStatus.PIPELINE_SYNC:
                waiting -= 1
            elif found.status in FAILED:
                failed.append(found)
        self._pgconn.exit_pipeline_mode()
        if failed:
            raise error_of(failed[0])

    def _answer(self) -> pq.abc.PGresult:
        """The next result; between those of two statements libpq gives one that is none. Raises psycopg.Error."""
        found = self._next() or self._next()
        if self._pgconn.status != pq.ConnStatus.OK and found is not None:
            raise error_of(found)
        if found is None:
            raise OperationalError("connection is lost")
        return found

    def _next(self) -> pq.abc.PGresult | None:
        while self._pgconn.is_busy():
            self._wait(EVENT_READ)
        return self._pgconn.get_result()

    def _wait(self, events: int) -> None:
        with DefaultSelector() as selector:
            selector.register(self._pgconn.socket, events)
            ready = selector.select()
        if any(event & EVENT_READ for _, event in ready):
            self._pgconn.consume_input()


def error_of(found: pq.abc.PGresult) -> Exception:
    """The driver's error for a result that has failed."""
    state = (found.error_field(pq.DiagnosticField.SQLSTATE) or b"").decode()
    message = pq.error_message(found)
    try:
        return errors.lookup(state)(message)
    except KeyError:
        return OperationalError(message)
