"""Registrations at one, two and four service processes over one book: the same load spread over them, or each its own.

They share a pen (`ledger.store.pen`): one of them enters what all are told.  Beside it stands what they give where each
enters its own, and the database's head row alone orders them.  After the last round the book is checked as a whole, and
every registration that was answered must stand in it once.
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
    """So many processes; whether each has the connections that one would have, or all share them; whether each enters its own."""

    processes: int
    each: bool = False
    apart: bool = False


WAYS = (Way(1), Way(2), Way(4), Way(2, each=True), Way(4, each=True))
APART = (Way(2, apart=True), Way(4, apart=True))
"""Measured on PostgreSQL alone, where a row orders them."""

_SIZE = 'SELECT "size" FROM "head"'


class Spread(NamedTuple):
    """What one number of processes gave in one round: the client's view, and the servers' histograms summed."""

    load: Load
    counts: Counts


def measure_processes(field: Field) -> list[Row]:
    """Each number of processes in turn, ``rounds`` times; the rows of the table, and what the check of the book found."""
    before, answered = one_value(field.plant.url, _SIZE), 0
    ways = (*WAYS, *(APART if field.storage.name == "postgresql" else ()))
    found: dict[Way, list[Spread]] = {way: [] for way in ways}
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
        pen = () if way.apart else (field.product / "pen",)
        addresses = [
            started.enter_context(running_server(field, field.product, PRODUCT, *pen)) for _ in range(processes)
        ]
        warmed = run_load(field, addresses, first, warm)
        before = [read_histogram(address, token) for address in addresses]
        load = run_load(field, addresses, first + warm, sizes.http, connections)
        after = [read_histogram(address, token) for address in addresses]
    counts = together([since(*each) for each in zip(before, after, strict=True)])
    spreads.append(Spread(load, counts))
    return warmed.answered + load.answered


def _rows(field: Field, found: dict[Way, list[Spread]]) -> list[Row]:
    rates = {way: [one.load.per_second for one in spreads] for way, spreads in found.items()}
    one = WAYS[0]
    rows = []
    for way, spreads in found.items():
        p50, p99 = (median(quantile_ms(spread.counts, share) for spread in spreads) for share in (0.5, 0.99))
        ratio, told = ratios(rates[way], rates[one])
        is_floor, has_target = way == one, way != one and not way.apart
        rows.append(
            Row(what=_words(way, field.sizes.connections),
                measured=f"{rate(rates[way])}, server: p50 {p50:.1f} ms, p99 {p99:.1f} ms",
                floor="" if is_floor else f"one process {rate(rates[one])}",
                ratio="" if is_floor else told,
                target="at least 1" if has_target else "",
                reached=ratio >= 1 if has_target else None)
        )  # fmt: skip
    return rows


def _words(way: Way, connections: int) -> str:
    processes = "one process" if way.processes == 1 else f"{way.processes} processes"
    entering = ", each entering its own" if way.apart else ""
    return f"registrations over HTTP at {processes}, {connections} connections {'each' if way.each else 'in all'}{entering}"


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
