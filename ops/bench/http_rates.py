"""Durable registrations over HTTP: the service, its floor, and the same service with one commit a request."""

from __future__ import annotations

import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import msgspec

from ops.bench.client import Load
from ops.bench.field import WARM, Field
from ops.bench.figures import Row, rate, ratios

SLOW_US = 2_000
"""Added to each flush in the second half of the cases, in microseconds."""


class Case(NamedTuple):
    """A kind of server (see `served`), with or without slow flushes."""

    kind: str
    slow: bool = False


PRODUCT, RAW, SINGLE = Case("product"), Case("raw"), Case("single")
SLOW_PRODUCT, SLOW_SINGLE = Case("product", slow=True), Case("single", slow=True)


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
    first = field.balls if case.kind == "raw" else field.take(WARM + sizes.http)
    with running_server(field, folder, case) as address:
        _load(field, case, address, first, WARM)
        before = _histogram(address, field.plant.token)
        load = _load(field, case, address, first + WARM, sizes.http)
        after = _histogram(address, field.plant.token)
    counts = [(bound, count - earlier) for (bound, count), (_, earlier) in zip(after, before, strict=True)]
    return Served(load, _quantile(counts, 0.5) * 1e3, _quantile(counts, 0.99) * 1e3)


def _load(field: Field, case: Case, address: str, first: int, count: int) -> Load:
    words = [field.product, address, first, count, field.sizes.connections, field.sizes.seconds]
    ran = subprocess.run(
        [sys.executable, "-m", "ops.bench.client", *map(str, words)], capture_output=True, text=True, check=False
    )
    if ran.returncode:
        message = f"the client failed:\n{ran.stderr[-2_000:]}"
        raise RuntimeError(message)
    load = msgspec.json.decode(ran.stdout, type=Load)
    if load.wrong:
        message = f"{case.kind} answered {load.wrong}"
        raise RuntimeError(message)
    return load


@contextmanager
def running_server(field: Field, folder: Path, case: Case) -> Iterator[str]:
    """A server of a kind over the book in a folder, as a process for the length of the block; its address."""
    words = [sys.executable, "-m", "ops.bench.served", str(folder), case.kind]
    if case.slow and field.shim is not None:
        words = field.shim.command(*words, slow_us=SLOW_US)
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
        try:
            address = server.stdout.readline().strip() if server.stdout else ""
            if not address:
                message = f"the {case.kind} server did not start"
                raise RuntimeError(message)
            yield address
        finally:
            server.terminate()
            server.wait(30)


def _histogram(address: str, token: str) -> list[tuple[float, int]]:
    request = urllib.request.Request(f"{address}/metrics", headers={"authorization": f"Bearer {token}"})  # noqa: S310
    with urllib.request.urlopen(request, timeout=30) as answer:  # noqa: S310  # loopback
        lines = answer.read().decode().splitlines()
    buckets = [line.rpartition(" ") for line in lines if "_bucket{" in line]
    return [(float(name.split('le="')[1].split('"')[0]), int(count)) for name, _, count in buckets]


def _quantile(counts: list[tuple[float, int]], share: float) -> float:
    total = counts[-1][1]
    return next((bound for bound, below in counts if below >= share * total), 0.0) if total else 0.0
