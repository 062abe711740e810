"""The view row of a temperature log, kept apart from the others because it belongs to no stage of the line alone."""

from __future__ import annotations

from ledger.line.rows import Row


class TemperatureLog(Row, frozen=True, kw_only=True):
    """What a log said of a stage of a lot: the first and last reading, and whole millionths of a degree Celsius.

    ``log`` is the address of the fact; ``digest`` and ``length`` are those of the file, which need not be stored.
    """

    log: str
    lot: str
    stage: str
    digest: str
    length: int
    first_ms: int
    last_ms: int
    readings: int
    coldest: int
    warmest: int
    mean: int | None
    gap_limit_s: int
    gaps: int
    longest_ms: int
