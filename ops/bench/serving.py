"""Servers and loads as processes of their own: what a measurement over HTTP starts, and waits for."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import msgspec

from ops.bench.client import Load
from ops.bench.field import Field

SLOW_US = 2_000
"""Added to each flush in the second half of the cases, in microseconds."""


class Case(NamedTuple):
    """A kind of server (see `served`), with or without slow flushes."""

    kind: str
    slow: bool = False


PRODUCT, RAW, SINGLE = Case("product"), Case("raw"), Case("single")
SLOW_PRODUCT, SLOW_SINGLE = Case("product", slow=True), Case("single", slow=True)


class Serving(NamedTuple):
    """A running server: where it is, and its process."""

    address: str
    process: int


@contextmanager
def running_server(field: Field, folder: Path, case: Case, *pen: Path) -> Iterator[str]:
    """A server of a kind over the book in a folder, as a process for the length of the block; its address.

    ``pen``: the folder in which several of them share a pen.
    """
    words = [sys.executable, "-m", "ops.bench.served", str(folder), case.kind, *map(str, pen)]
    if case.slow and field.shim is not None:
        with (
            field.storage.flushing(field.shim, slow_us=SLOW_US) as command,
            serving(case.kind, command(*words)) as server,
        ):
            yield server.address
    else:
        with serving(case.kind, words) as server:
            yield server.address


@contextmanager
def serving(kind: str, words: list[str]) -> Iterator[Serving]:
    """A program that prints its address once it answers, for the length of the block."""
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server:
        try:
            address = server.stdout.readline().strip() if server.stdout else ""
            if not address:
                message = f"the {kind} server did not start"
                raise RuntimeError(message)
            yield Serving(address, server.pid)
        finally:
            server.terminate()
            server.wait(30)


def run_load(field: Field, addresses: Sequence[str], first: int, count: int, connections: int = 0) -> Load:
    """So many registrations from a ball on, over connections that are spread over the addresses; 0: as many as the sizes say."""
    sizes = field.sizes
    words = [field.product, ",".join(addresses), first, count, connections or sizes.connections, sizes.seconds]
    ran = subprocess.run(
        [sys.executable, "-m", "ops.bench.client", *map(str, words)], capture_output=True, text=True, check=False
    )
    if ran.returncode:
        message = f"the client failed:\n{ran.stderr[-2_000:]}"
        raise RuntimeError(message)
    load = msgspec.json.decode(ran.stdout, type=Load)
    if load.wrong:
        message = f"{', '.join(addresses)} answered {load.wrong}"
        raise RuntimeError(message)
    return load
