"""Flushes an entry: counted by the library that stands before fsync (`shim`), in a process of its own.

As a program (``python -m ops.bench.flushes FOLDER COUNT_FILE FIRST COUNT TOGETHER``) it registers balls one after
another, or in groups of at most TOGETHER, and prints how many flushes that took.  On PostgreSQL it is the server's that
are counted, those of its background writers too.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from ops.bench.field import Field
from ops.bench.figures import Row
from ops.bench.plant import open_plant, read_plant, submissions
from ops.bench.shim import Shim, read_count


def measure_flushes(field: Field) -> list[Row]:
    """The rows of the table: one client, and groups of 50."""
    sizes = field.sizes
    cases = (("one client", sizes.flush_single, 1, 1.1), ("groups of 50", sizes.flush_grouped, 50, 0.05))
    if field.shim is None:
        return [Row(what=f"flushes an entry, {name}", measured=f"not measured: {field.no_shim}") for name, *_ in cases]
    rows = []
    for name, count, together, limit in cases:
        counted = _counted(field, field.shim, count, together)
        rows.append(
            Row(what=f"flushes an entry, {name}", measured=f"{counted / count:.3f} ({counted} for {count} entries)",
                floor="counted by a library before fsync", target=f"at most {limit}", reached=counted <= limit * count)
        )  # fmt: skip
    return rows


def _counted(field: Field, shim: Shim, count: int, together: int) -> int:
    counter = field.product / "flushes"
    words = ("-m", "ops.bench.flushes", field.product, counter, field.take(count), count, together)
    with field.storage.flushing(shim, count_file=counter) as command:
        ran = subprocess.run(command(sys.executable, *map(str, words)), capture_output=True, text=True, check=False)
    if ran.returncode:
        message = f"counting flushes failed:\n{ran.stderr}"
        raise RuntimeError(message)
    return int(ran.stdout)


def main(folder: Path, counter: Path, first: int, count: int, together: int) -> None:
    """Register balls and print the flushes."""
    plant = read_plant(folder)
    said = submissions(plant, first, count)
    book = open_plant(plant)
    book._writer._limit = together  # noqa: SLF001  # the size of a group is what is measured
    keeper = plant.keeper()
    try:
        before = read_count(counter)
        if together == 1:
            for one in said:
                book.submit(one, keeper).result()
        else:
            for future in [book.submit(one, keeper) for one in said]:
                future.result()
        print(read_count(counter) - before)
    finally:
        book.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), *map(int, sys.argv[3:]))
