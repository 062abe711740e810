"""Durable registrations over HTTP: the service, its floor, and the same service with one commit a request."""

from __future__ import annotations

from typing import NamedTuple

from ops.bench.client import Load
from ops.bench.field import Field
from ops.bench.figures import Row, rate, ratios
from ops.bench.histograms import quantile_ms, read_histogram, since
from ops.bench.serving import PRODUCT, RAW, SINGLE, SLOW_PRODUCT, SLOW_SINGLE, Case, run_load, running_server


class Served(NamedTuple):
    """What one case gave in one round: the client's view, and quantiles from the server's own histogram in ms."""

    load: Load
    p50_ms: float
    p99_ms: float


def measure_http(field: Field) -> list[Row]:
    """All cases in turn, ``rounds`` times; the rows of the table."""
    cases = [RAW, PRODUCT, SINGLE, *([SLOW_PRODUCT, SLOW_SINGLE] if field.shim else [])]
    found: dict[Case, list[Served]] = {case: [] for case in cases}
    for _ in range(field.sizes.rounds):
        for case in cases:
            found[case].append(_measure(field, case))
    return _rows(field, found)


def _rows(field: Field, found: dict[Case, list[Served]]) -> list[Row]:
    rates = {case: [one.load.per_second for one in served] for case, served in found.items()}
    clients = field.sizes.connections
    what = f"durable registrations over HTTP, {clients} connections"
    to_floor, floor_words = ratios(rates[PRODUCT], rates[RAW])
    to_single, single_words = ratios(rates[PRODUCT], rates[SINGLE])
    rows = [
        Row(what=what, measured=rate(rates[PRODUCT]), floor=f"raw inserts behind an empty route {rate(rates[RAW])}",
            ratio=floor_words, target="at least 0.5", reached=to_floor >= 0.5),
        Row(what="the same, against one commit a request", measured=rate(rates[PRODUCT]),
            floor=f"the service with groups of 1 {rate(rates[SINGLE])}", ratio=single_words, target="at least 2",
            reached=to_single >= 2),
    ]  # fmt: skip
    if SLOW_PRODUCT in found:
        to_slow, slow_words = ratios(rates[SLOW_PRODUCT], rates[SLOW_SINGLE])
        rows.append(
            Row(what="the same with 2 ms added to each flush", measured=rate(rates[SLOW_PRODUCT]),
                floor=f"the service with groups of 1 {rate(rates[SLOW_SINGLE])}", ratio=slow_words, target="at least 8",
                reached=to_slow >= 8)
        )  # fmt: skip
    else:
        rows.append(Row(what="the same with 2 ms added to each flush", measured=f"not measured: {field.no_shim}"))
    rows += [_times(name, served) for name, served in (("the service", found[PRODUCT]), ("raw inserts", found[RAW]))]
    return rows


def _times(name: str, served: list[Served]) -> Row:
    """Times of the round in the middle by p99."""
    one = sorted(served, key=lambda each: each.p99_ms)[len(served) // 2]
    return Row(
        what=f"time of a registration, {name}",
        measured=f"server: p50 {one.p50_ms:.1f} ms, p99 {one.p99_ms:.1f} ms",
        floor=f"client: p50 {one.load.p50_ms:.1f} ms, p99 {one.load.p99_ms:.1f} ms",
    )


def _measure(field: Field, case: Case) -> Served:
    sizes = field.sizes
    folder = field.floor if case.kind == "raw" else field.product
    # The floor answers without reading, so any request will do; the others use balls up.
    first = field.balls if case.kind == "raw" else field.take(sizes.warm + sizes.http)
    with running_server(field, folder, case) as address:
        run_load(field, [address], first, sizes.warm)
        before = read_histogram(address, field.plant.token)
        load = run_load(field, [address], first + sizes.warm, sizes.http)
        counts = since(before, read_histogram(address, field.plant.token))
    return Served(load, quantile_ms(counts, 0.5), quantile_ms(counts, 0.99))
