"""The load of n plants: ``python -m ops.bench.plants --plants 3 --balls 200``; prints tables in Markdown.

Each plant is a book of its own in a folder of its own, to which a process of its own registers balls as fast as it can, all
at once, or with ``--in-turn`` one after another.  Each process makes its book ready before any of them starts.  What is
found is then carried on to ``--to-plants`` and ``--to-balls`` in ``--years``: by straight lines, so it says what so many
balls weigh, and nothing of what a larger book slows down.

The plants all bear the bench's one origin and one serial key: neither weighs more or less than another would.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing.synchronize import Barrier
from pathlib import Path
from statistics import median
from typing import NamedTuple

from ledger.errors import MalformedInput
from ledger.line.serial import SERIAL_COUNT
from ops.bench.books import settle
from ops.bench.machine import machine_line
from ops.bench.plant import create_plant, make_ready, open_plant, read_plant, ready_end, submissions
from ops.collector import settle_collector

HOURS_A_YEAR = 4_000
"""Hours of making in a year, two shifts on 250 days: an assumption."""

MOST_PLANTS = 1_000

_GATE: list[Barrier] = []
"""In a plant's process: where it waits until every other one is ready."""

_GATE_S = 600.0


class Aim(NamedTuple):
    """What the figures are carried on to."""

    plants: int = 100
    balls: int = 1_000_000_000
    years: int = 10


class Run(NamedTuple):
    """What one plant's process found. Seconds are those of one clock for all processes; memory is its peak, in MB."""

    balls: int
    began: float
    ended: float
    ready_bytes: int
    ready_balls: int
    registered_bytes: int
    memory_mb: float

    @property
    def per_second(self) -> float:
        """Registrations a second, each answered once it was durable."""
        return self.balls / (self.ended - self.began)

    @property
    def per_ball(self) -> float:
        """Bytes of the file for a ball: its share of lots and allotted serials, and its registration."""
        return self.ready_bytes / self.ready_balls + self.registered_bytes / self.balls


def main(words: list[str] | None = None) -> int:
    """Make the plants, load them, print what was found and what it comes to."""
    given = _arguments(words)
    aim = Aim(given.to_plants, given.to_balls, given.years)
    numbers = {"--plants": given.plants, "--balls": given.balls, "--to-plants": aim.plants, "--to-balls": aim.balls}
    for name, number in {**numbers, "--years": aim.years}.items():
        if number < 1:
            raise MalformedInput("number is out of range", expected="1 or more", got=number, where=name)
    if given.plants > MOST_PLANTS:
        raise MalformedInput("too many plants", expected=f"at most {MOST_PLANTS}", got=given.plants, where="--plants")
    with tempfile.TemporaryDirectory(prefix="plants-", dir=given.folder) as folder:
        runs = load_plants(Path(folder), given.plants, given.balls, at_once=not given.in_turn)
    way = "one after another" if given.in_turn else "all at once"
    print(f"{machine_line()}; {given.plants} plants, {given.balls:,} balls each, {way}\n")
    print(found_table(runs, at_once=not given.in_turn))
    print()
    print(carried_table(runs, aim))
    return 0


def load_plants(folder: Path, plants: int, balls: int, *, at_once: bool) -> list[Run]:
    """A book for each plant, made ready, and then loaded by a process each; in the order of the plants."""
    folders = [folder / f"plant-{number:04}" for number in range(plants)]
    # Spawned, so that no process begins with another's threads; one each, so that its memory is its own.
    context = multiprocessing.get_context("spawn")
    together = plants if at_once else 1
    with ProcessPoolExecutor(together, mp_context=context, max_tasks_per_child=1) as ready:
        sizes = list(ready.map(make_plant, folders, [balls] * plants))
    with ProcessPoolExecutor(
        together,
        mp_context=context,
        max_tasks_per_child=1,
        initializer=_GATE.append,
        initargs=(context.Barrier(together),),
    ) as loading:
        return list(loading.map(load_plant, folders, [balls] * plants, sizes))


def make_plant(folder: Path, balls: int) -> int:
    """A plant's book with the lots and serials that its balls need; the bytes that these took."""
    plant = create_plant(folder)
    settle(folder)
    empty = _size(folder)
    book = open_plant(plant)
    try:
        make_ready(book, plant, 0, balls)
    finally:
        book.close()
    settle(folder)
    return _size(folder) - empty


def load_plant(folder: Path, balls: int, ready_bytes: int) -> Run:
    """Register a plant's balls, all handed over at once as a full line would."""
    plant, before = read_plant(folder), _size(folder)
    said, keeper = submissions(plant, 0, balls), plant.keeper()
    book = open_plant(plant)
    try:
        settle_collector()
        for gate in _GATE:
            gate.wait(_GATE_S)
        began = time.monotonic()
        for future in [book.submit(one, keeper) for one in said]:
            future.result()
        ended = time.monotonic()
    finally:
        book.close()
    settle(folder)
    # Linux gives kilobytes; macOS gives bytes.
    unit = 1024**2 if sys.platform == "darwin" else 1024
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit
    return Run(balls, began, ended, ready_bytes, ready_end(balls), _size(folder) - before, memory)


def found_table(runs: Sequence[Run], *, at_once: bool) -> str:
    """What was found: medians over the plants with their range; at once, all of them together too."""
    span = max(run.ended for run in runs) - min(run.began for run in runs)
    together = [("registrations of all plants together", f"{sum(run.balls for run in runs) / span:,.0f}/s")]
    rows = [
        ("registrations a plant", _spread([run.per_second for run in runs], "/s")),
        *(together if at_once else []),
        ("bytes of the file a ball", _spread([run.per_ball for run in runs], "")),
        ("of these its registration", _spread([run.registered_bytes / run.balls for run in runs], "")),
        ("peak memory of a plant's process", _spread([run.memory_mb for run in runs], " MB")),
    ]
    return _table(("found", "median (range)"), rows)


def carried_table(runs: Sequence[Run], aim: Aim) -> str:
    """What the median plant comes to for so many plants and balls, by straight lines."""
    per_ball, rate = median(run.per_ball for run in runs), median(run.per_second for run in runs)
    of_plant = aim.balls / aim.plants
    needed = of_plant / (aim.years * HOURS_A_YEAR * 3_600)
    rows = [
        ("file of one plant", f"{of_plant * per_ball / 1e9:,.1f} GB"),
        ("files of all plants", f"{aim.balls * per_ball / 1e12:,.2f} TB"),
        (f"registrations needed of a plant, {HOURS_A_YEAR:,} h a year (assumed)", f"{needed:,.3f}/s"),
        ("of the rate found here", f"{needed / rate:.4%}"),
        ("the whole load at the rate found here, one plant after another", f"{aim.balls / rate / 86_400:,.1f} d"),
        ("pairs of balls of two plants that bear one own serial, expected", f"{shared_serials(aim):,.0f}"),
    ]
    return _table((f"{aim.plants:,} plants, {aim.balls:,} balls, {aim.years} years", "comes to"), rows)


def shared_serials(aim: Aim) -> float:
    """How many pairs of balls of two plants bear one serial of the own scheme, where each plant has a key of its own.

    Within a plant none repeats; between two, each pair of balls agrees with a chance of 1 in `SERIAL_COUNT`.
    """
    of_plant = aim.balls / aim.plants
    pairs_of_plants = aim.plants * (aim.plants - 1) / 2
    return pairs_of_plants * of_plant * of_plant / SERIAL_COUNT


def _size(folder: Path) -> int:
    return (folder / "book.sqlite").stat().st_size


def _spread(values: Sequence[float], unit: str) -> str:
    return f"{median(values):,.0f}{unit} ({min(values):,.0f} to {max(values):,.0f})"


def _table(head: tuple[str, str], rows: Sequence[tuple[str, str]]) -> str:
    return "\n".join(f"| {what} | {figure} |" for what, figure in (head, ("---", "---"), *rows))


def _arguments(words: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m ops.bench.plants", description="Generate the load of n plants.")
    parser.add_argument("--plants", type=int, default=3, help="plants, each a book and a process (3)")
    parser.add_argument("--balls", type=int, default=2_000, help="balls that each registers (2,000)")
    parser.add_argument("--in-turn", action="store_true", help="one plant after another")
    parser.add_argument("--folder", type=Path, help="where the books lie while it runs; else the system's own place")
    parser.add_argument("--to-plants", type=int, default=Aim().plants, help="carry the figures on to so many plants")
    parser.add_argument("--to-balls", type=int, default=Aim().balls, help="and so many balls of all of them")
    parser.add_argument("--years", type=int, default=Aim().years, help="made in so many years")
    return parser.parse_args(words)


if __name__ == "__main__":
    sys.exit(main())
