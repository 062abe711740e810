"""Where the processor time of a registration goes: the service with its parts timed (`parts_timed`), under the usual load."""

from __future__ import annotations

import sys

import msgspec

from ops.bench.field import Field
from ops.bench.figures import Row
from ops.bench.parts_timed import PartsTaken
from ops.bench.serving import run_load, serving


def measure_profile(field: Field) -> list[Row]:
    """One run; a row for each part, the largest first, and one for all."""
    sizes, file = field.sizes, field.product / "parts.json"
    words = [sys.executable, "-m", "ops.bench.profiled", str(field.product), str(file)]
    with serving("timed", words) as server:
        run_load(field, [server.address], field.take(sizes.warm + sizes.http), sizes.warm + sizes.http)
    return _rows(msgspec.json.decode(file.read_bytes(), type=PartsTaken))


def _rows(taken: PartsTaken) -> list[Row]:
    whole = sum(taken.parts.values())
    an_entry = 1e6 / max(1, taken.entries)
    rows = [
        Row(what=f"processor time of a registration: {part}", measured=f"{seconds * an_entry:.1f} µs",
            ratio=f"{seconds / whole:.0%} of it")
        for part, seconds in sorted(taken.parts.items(), key=lambda each: -each[1])
    ]  # fmt: skip
    return [
        *rows,
        Row(what=f"processor time of a registration, all of it ({taken.entries:,} of them, request loop and writer)",
            measured=f"{whole * an_entry:.1f} µs", floor=f"of which the clock itself {taken.clock_s * an_entry:.1f} µs"),
    ]  # fmt: skip
