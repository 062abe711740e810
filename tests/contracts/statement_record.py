"""Every statement that reaches a database, as its driver got it, and how the database would go about it."""

from __future__ import annotations

import itertools
import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

import psycopg
from sqlalchemy import Engine, event

from ledger.store.array_rows import Together
from ledger.store.gathered import Gathered, one_statement
from ledger.store.packed_arrays import register_arrays

_PLANNED = re.compile(r"\s*(SELECT|INSERT|UPDATE|DELETE|WITH)\b")
_SCANNED = re.compile(r"SCAN (\w+)(?: USING (?:COVERING )?INDEX (\w+))?")
_ALIAS = re.compile(r'"(\w+)"(?: AS)? (\w+)\b')
_INDEX_SCANS = frozenset({"Index Scan", "Index Only Scan"})


class Statement(NamedTuple):
    """A statement and the values of one of its runs."""

    text: str
    values: tuple[Any, ...]


class Scan(NamedTuple):
    """A table that a statement goes through from its beginning: all of it, or (``ends``) as far as a limit."""

    table: str
    ends: bool


Recorded = dict[str, Statement]
"""By its text, the first run of each statement."""


@contextmanager
def recorded() -> Iterator[Recorded]:
    """What runs on connections that are opened within the block, as long as it lasts; by any store of this process."""
    found: Recorded = {}
    live = [True]

    def keep(text: str, values: Any = ()) -> None:
        if live and _PLANNED.match(text):
            found.setdefault(text, Statement(text, tuple(values)))

    class Kept(psycopg.Cursor[Any]):
        def execute(self, query: Any, params: Any = None, **options: Any) -> Any:
            keep(query, params or ())
            return super().execute(query, params, **options)

        def executemany(self, query: Any, params_seq: Any, **options: Any) -> None:
            keep(query, next(iter(params_seq), ()))
            super().executemany(query, params_seq, **options)

    def watch(connection: Any, _record: Any) -> None:
        if isinstance(connection, sqlite3.Connection):
            connection.set_trace_callback(keep)
        else:
            connection.cursor_factory = Kept

    run = Gathered.run

    def run_kept(self: Gathered, parts: tuple[Together, ...], values: list[Any]) -> None:
        keep(one_statement(parts), values)
        run(self, parts, values)

    event.listen(Engine, "connect", watch)
    Gathered.run = run_kept  # type: ignore[method-assign]  # it goes past the driver's cursors
    try:
        yield found
    finally:
        Gathered.run = run  # type: ignore[method-assign]
        live.clear()
        event.remove(Engine, "connect", watch)


_PLANNING = 2.5
"""What the server adds to the cost of a plan for the values, for each table in it and one more: 1000 times the cost of an
operator (``cached_plan_cost`` in src/backend/utils/cache/plancache.c)."""


def plans_in_use(connection: psycopg.Connection[Any], statement: Statement) -> list[dict[str, Any]]:
    """The plan for the values of the run; and that for any values, where a prepared statement would come to use it.

    That is so where it is not dearer than plans for the values are, with the work of planning (``choose_custom_plan`` in
    the same file).
    """
    custom, generic = explained(connection, statement), explained(connection, statement, generic=True)
    dearest = custom["Total Cost"] + _PLANNING * (1 + sum(1 for node in nodes_of(custom) if "Relation Name" in node))
    return [custom, generic] if generic["Total Cost"] < dearest else [custom]


def explained(connection: psycopg.Connection[Any], statement: Statement, *, generic: bool = False) -> dict[str, Any]:
    """The root of the plan of a statement, for the values of its run or for any."""
    register_arrays(connection)
    if generic:
        numbers = itertools.count(1)
        text = re.sub("%s|%%", lambda mark: "%" if mark[0] == "%%" else f"${next(numbers)}", statement.text)
        found = connection.execute(f"EXPLAIN (GENERIC_PLAN, FORMAT JSON) {text}".encode()).fetchone()
    else:
        asked: Any = f"EXPLAIN (FORMAT JSON) {statement.text}".encode()
        found = connection.execute(asked, statement.values or None).fetchone()
    assert found is not None
    root: dict[str, Any] = found[0][0]["Plan"]
    return root


def partial_indexes(connection: psycopg.Connection[Any]) -> frozenset[str]:
    """The indexes that hold some rows of their table: to go along one is to look these up."""
    found = connection.execute("SELECT indexrelid::regclass::text FROM pg_index WHERE indpred IS NOT NULL").fetchall()
    return frozenset(name for (name,) in found)


def scans_of(node: dict[str, Any], partial: frozenset[str], *, ends: bool = False) -> Iterator[Scan]:
    """The tables that a plan goes through, row by row or along an index of all its rows."""
    kind = node["Node Type"]
    ends = ends or kind == "Limit"
    if kind == "Seq Scan":
        yield Scan(node["Relation Name"], ends=False)
    if kind in _INDEX_SCANS and "Index Cond" not in node and node["Index Name"] not in partial:
        yield Scan(node["Relation Name"], ends)
    for inner in node.get("Plans", ()):
        yield from scans_of(inner, partial, ends=ends)


def nodes_of(node: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Every node of a plan."""
    yield node
    for inner in node.get("Plans", ()):
        yield from nodes_of(inner)


def sqlite_scans(connection: sqlite3.Connection, statement: Statement) -> list[Scan]:
    """The same of SQLite: its SCAN of a table, by an index or not, while its SEARCH looks up."""
    kept = connection.execute("SELECT type, name, sql FROM sqlite_master").fetchall()
    tables = {name for kind, name, _ in kept if kind == "table"}
    partial = {name for kind, name, sql in kept if kind == "index" and " WHERE " in (sql or "")}
    aliases: dict[str, str] = {alias: table for table, alias in _ALIAS.findall(statement.text)}
    found = []
    for *_, detail in connection.execute(f"EXPLAIN QUERY PLAN {statement.text}"):
        scanned = _SCANNED.match(detail)
        table = "" if scanned is None else aliases.get(scanned[1], scanned[1])
        if scanned is not None and table in tables and scanned[2] not in partial:
            found.append(Scan(table, bool(scanned[2]) and "LIMIT" in statement.text))
    return found
