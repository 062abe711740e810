"""Peak memory of the service and of the long commands, on books of three sizes.

The service is a real ``pourbook serve`` over a copy of each book: its peak after its start, and after a fixed list of asks,
the same at each size, with the process that it starts for long answers beside it.  The check of the book and the rebuild of
its views are processes of their own.  (That of a dossier is measured with dossiers.)
"""

from __future__ import annotations

import http.client
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing
from http import HTTPStatus
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlsplit

from ledger.errors import Refused
from ops.bench.books import book_of, copy_book
from ops.bench.field import Field
from ops.bench.figures import Row
from ops.bench.plant import LOT, Plant, ready_end
from ops.bench.start_up import pourbook_serve

COMMANDS = ("verify", "rebuild")

ASKS = (
    "/balls/{unit}", "/lots/{lot}", "/lots/{lot}/above", "/lots/{lot}/below", "/lots/R1/below",
    "/conformity?rulebook=usbc-2026", "/entries/1", "/receipts/1", "/checkpoint", "/metrics",
)  # fmt: skip
"""Two of them are over every ball: all below the one material lot, and the conformity of all."""


class Peaks(NamedTuple):
    """MB of one book: the service after its start and after the asks, what it started beside itself, each command."""

    started: float
    asked: float
    beside: float
    commands: dict[str, float]


def measure_memory(field: Field) -> list[Row]:
    """The rows of the table: the largest book beside the smallest."""
    if not Path("/proc/self/status").exists():
        return [Row(what="peak memory", measured="not measured: this system does not tell it of other processes")]
    sizes = sorted({ready_end(max(1, field.balls // parts)) for parts in (100, 10, 1)})
    found = {balls: _peaks(field, balls) for balls in sizes}
    rows = []
    for balls, peaks in found.items():
        smallest = found[sizes[0]]
        told = [("the service after its start", peaks.started, smallest.started),
                ("the service after a fixed list of asks", peaks.asked, smallest.asked),
                ("its process for long answers after these", peaks.beside, smallest.beside),
                *((f"pourbook {name}", peak, smallest.commands[name]) for name, peak in peaks.commands.items())]  # fmt: skip
        rows += [
            Row(what=f"peak memory with {balls:,} balls: {what}", measured=f"{peak:.0f} MB",
                floor=f"with {sizes[0]:,} balls {least:.0f} MB", ratio=f"{peak / least:.2f}" if least else "")
            for what, peak, least in told
        ]  # fmt: skip
    return rows


def _peaks(field: Field, balls: int) -> Peaks:
    folder = field.storage.folder / "weighed"
    plant = copy_book(field.storage, book_of(field.storage, balls), folder)
    try:
        with pourbook_serve(folder) as server:
            _ask(server.address, plant, ["/metrics"])
            started = peak_mb(server.process)
            _ask(
                server.address,
                plant,
                [ask.format(unit=f"U{balls // 2:09d}", lot=f"S{balls // 2 // LOT}") for ask in ASKS],
            )
            asked = peak_mb(server.process)
            beside = max((peak_mb(child) for child in descendants(server.process)), default=0.0)
        commands = {name: _command(name, plant) for name in COMMANDS}
    finally:
        field.storage.remove(folder)
    return Peaks(started, asked, beside, commands)


def _ask(address: str, plant: Plant, asks: Sequence[str]) -> None:
    with closing(http.client.HTTPConnection(urlsplit(address).netloc, timeout=600)) as connection:
        for ask in asks:
            connection.request("GET", ask, headers={"authorization": f"Bearer {plant.token}"})
            answer = connection.getresponse()
            answer.read()
            if answer.status != HTTPStatus.OK:
                raise Refused("an ask was answered otherwise", where=ask, expected=HTTPStatus.OK, got=answer.status)


def _command(name: str, plant: Plant) -> float:
    words = [sys.executable, "-m", "ops.bench.memory_child", name, plant.url]
    return float(subprocess.run(words, stdout=subprocess.PIPE, text=True, check=True).stdout)


def peak_mb(process: int | str = "self") -> float:
    """The greatest resident memory that a process had, as Linux tells it."""
    lines = dict(line.split(":", 1) for line in Path(f"/proc/{process}/status").read_text("utf-8").splitlines())
    return int(lines["VmHWM"].split()[0]) / 1024


def descendants(process: int) -> Iterator[int]:
    """The processes that a process started and that run, and those that they did."""
    for listing in Path(f"/proc/{process}/task").glob("*/children"):
        for child in map(int, listing.read_text("utf-8").split()):
            yield child
            yield from descendants(child)
