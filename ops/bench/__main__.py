"""``python -m ops.bench [--full] [--store postgresql] [--balls N] [--rounds N] [--only NAME]``: measures, prints Markdown.

Takes some minutes; ``--full`` measures on a book of a million balls, which it makes the first time (some minutes)
and keeps in the project's folder ``.pourbook/bench``; ``--only dossiers --dossier 100000`` makes a book that is large enough
for the dossier, and ``--signed`` one whose station signs each ball.  Uses loopback and that folder, nothing else.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import msgspec

from ledger.errors import Unsupported
from ops.bench.bulk import measure_bulk
from ops.bench.dossier_pass import measure_dossiers
from ops.bench.field import Field, Sizes
from ops.bench.figures import markdown
from ops.bench.flushes import measure_flushes
from ops.bench.growth import measure_growth
from ops.bench.http_rates import measure_http
from ops.bench.machine import machine_line
from ops.bench.memory import measure_memory
from ops.bench.page_times import measure_pages
from ops.bench.peers import measure_peers
from ops.bench.population_pass import measure_impacts, measure_population_pass
from ops.bench.processes import measure_processes
from ops.bench.processor_parts import measure_profile
from ops.bench.signal_pass import measure_signal_pass
from ops.bench.storage import opened_storage
from ops.bench.trace_pass import measure_trace
from ops.bench.whole_check import measure_whole_check

MEASURES = {
    "http": measure_http,
    "flushes": measure_flushes,
    "bulk": measure_bulk,
    "check": measure_whole_check,
    "population": measure_population_pass,
    "impacts": measure_impacts,
    "signals": measure_signal_pass,
    "trace": measure_trace,
    "pages": measure_pages,
    "dossiers": measure_dossiers,
    "processes": measure_processes,
    "profile": measure_profile,
    "growth": measure_growth,
    "memory": measure_memory,
    "peers": measure_peers,
}
"""Every measurement by its name, in the order of the table."""

REGISTERING = frozenset({"http", "flushes", "bulk", "processes", "peers", "profile"})
"""Those that register balls of their own."""

FULL = Sizes(balls=1_000_000, rounds=5, http=8_000, bulk=10_000, dossier=100_000, growth=10_000_000, leaves=1_000_000)


def main(words: list[str] | None = None) -> int:
    """Measure what is asked for and print it."""
    given = _arguments(words)
    sizes = FULL if given.full else Sizes()
    named = {name: getattr(given, name) for name in Sizes.__struct_fields__ if getattr(given, name) is not None}
    sizes = msgspec.structs.replace(sizes, **named)
    asked = [name for name in MEASURES if not given.only or name in given.only]
    if given.dossier is not None and "dossiers" in asked:
        sizes = msgspec.structs.replace(sizes, balls=max(sizes.balls, sizes.dossier))
    began = time.perf_counter()
    try:
        with opened_storage(given.store, given.folder) as storage:
            _measure(Field(storage, sizes, registers=not REGISTERING.isdisjoint(asked)), asked)
    except Unsupported as error:
        print(f"Not measured: {error}")
        return 1
    print(f"\nThe run took {time.perf_counter() - began:.0f} s.")
    return 0


def _measure(field: Field, asked: list[str]) -> None:
    machine = machine_line(field.storage.version())
    print(f"{machine}; a book of {field.balls:,} balls; {field.sizes.rounds} rounds in turn\n", flush=True)
    rows = []
    for name in asked:
        print(f"measuring: {name}", file=sys.stderr, flush=True)
        rows += MEASURES[name](field)
    print(markdown(rows))


def _arguments(words: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m ops.bench", description="Measure the book beside its floors.")
    parser.add_argument("--full", action="store_true", help="a book of a million balls, and more rounds")
    parser.add_argument("--only", action="append", choices=tuple(MEASURES), help="only this one; may be given again")
    kept = Path(__file__).resolve().parents[2] / ".pourbook" / "bench"
    parser.add_argument("--store", choices=("sqlite", "postgresql"), default="sqlite", help="what the books lie in")
    parser.add_argument("--folder", type=Path, default=kept, help="where the books lie")
    parser.add_argument("--signed", action="store_true", default=None, help="a book whose station signs each ball")
    for field in msgspec.structs.fields(Sizes):
        if field.type is not bool:
            parser.add_argument(f"--{field.name.replace('_', '-')}", type=field.type, help=f"default {field.default}")
    return parser.parse_args(words)


if __name__ == "__main__":
    sys.exit(main())
