"""Registrations at one, two and four service processes over one database: the same load spread over them, or each its own.

Only the database's head row orders them: each process has its writer, which takes that row for a group.  After the last
round the book is checked as a whole, and every registration that was answered must stand in it once.
"""

from __future__ import annotations

from contextlib import ExitStack
from statistics import median
from typing import NamedTuple

from ledger.application.proofs import check_book
from ledger.errors import RootMismatch
from ledger.store.engine import open_store
from ops.bench.client import Load
from ops.bench.drivers import one_value
from ops.bench.field import Field
from ops.bench.figures import Row, rate, ratios
from ops.bench.histograms import Counts, quantile_ms, read_histogram, since, together
from ops.bench.plant import ORIGIN, SIGNERS
from ops.bench.serving import PRODUCT, run_load, running_server


class Way(NamedTuple):
    """So many processes, and whether each has the connections that one would have, or all share them."""

    processes: int
    each: bool = False


WAYS = (Way(1), Way(2), Way(4), Way(2, each=True), Way(4, each=True))
_SIZE = 'SELECT "size" FROM "head"'


class Spread(NamedTuple):
    """What one number of processes gave in one round: the client's view, and the servers' histograms summed."""

    load: Load
    counts: Counts


def measure_processes(field: Field) -> list[Row]:
    """Each number of processes in turn, ``rounds`` times; the rows of the table, and what the check of the book found."""
    if field.storage.name != "postgresql":
        return [
            Row(
                what="registrations at several processes",
                measured="not measured: a SQLite file has one writer at a time",
            )
        ]
    before, answered = one_value(field.plant.url, _SIZE), 0
    found: dict[Way, list[Spread]] = {way: [] for way in WAYS}
    for _ in range(field.sizes.rounds):
        for way, spreads in found.items():
            answered += _round(field, way, spreads)
    return [*_rows(field, found), _checked(field, before + answered)]


def _round(field: Field, way: Way, spreads: list[Spread]) -> int:
    """Start so many processes and load them; how many registrations were answered in all."""
    sizes, token, processes = field.sizes, field.plant.token, way.processes
    connections = sizes.connections * (processes if way.each else 1)
    warm, first = sizes.warm * processes, field.take(sizes.warm * processes + sizes.http)
    with ExitStack() as started:
        addresses = [started.enter_context(running_server(field, field.product, PRODUCT)) for _ in range(processes)]
        warmed = run_load(field, addresses, first, warm)
        before = [read_histogram(address, token) for address in addresses]
        load = run_load(field, addresses, first + warm, sizes.http, connections)
        after = [read_histogram(address, token) for address in addresses]
    counts = together([since(*each) for each in zip(before, after, strict=True)])
    spreads.append(Spread(load, counts))
    return warmed.answered + load.answered


def _rows(field: Field, found: dict[Way, list[Spread]]) -> list[Row]:
    rates = {way: [one.load.per_second for one in spreads] for way, spreads in found.items()}
    rows = []
    for way, spreads in found.items():
        p50, p99 = (median(quantile_ms(one.counts, share) for one in spreads) for share in (0.5, 0.99))
        name = "one process" if way == WAYS[0] else f"{way.processes} processes"
        over = f"{field.sizes.connections} connections {'each' if way.each else 'in all'}"
        rows.append(
            Row(what=f"registrations over HTTP at {name}, {over}",
                measured=f"{rate(rates[way])}, server: p50 {p50:.1f} ms, p99 {p99:.1f} ms",
                floor="" if way == WAYS[0] else f"one process {rate(rates[WAYS[0]])}",
                ratio="" if way == WAYS[0] else ratios(rates[way], rates[WAYS[0]])[1])
        )  # fmt: skip
    return rows


def _checked(field: Field, expected: int) -> Row:
    """Check the book and that it holds as many entries as were answered. Raises what is wrong with it."""
    store = open_store(field.plant.url)
    try:
        report = check_book(store, ORIGIN, [SIGNERS.checkpoint.verifier], views=False)
    finally:
        store.close()
    if report.entries != expected:
        raise RootMismatch(
            "the book holds another number of entries than were answered", expected=expected, got=report.entries
        )
    return Row(what="the book afterwards", measured=f"one chain of {report.entries:,} entries, as many as were answered",
               target="no gap", reached=True)  # fmt: skip
