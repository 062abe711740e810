"""What a run found, and how it is printed: a figure, its floor, the ratio, what it must reach."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from statistics import median

import msgspec


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the table. ``reached`` is None where the line has no target of its own."""

    what: str
    measured: str
    floor: str = ""
    ratio: str = ""
    target: str = ""
    reached: bool | None = None


def ratios(numerators: Sequence[float], denominators: Sequence[float]) -> tuple[float, str]:
    """The median of the ratios taken within each round, and that with its range as text."""
    found = [one / other for one, other in zip(numerators, denominators, strict=True) if other]
    if not found:
        return 0.0, "not measured"
    return median(found), f"{median(found):.2f} ({min(found):.2f} to {max(found):.2f})"


def rate(per_second: Iterable[float]) -> str:
    """The median of rates as text."""
    return f"{median(per_second):,.0f}/s"


def markdown(rows: Iterable[Row]) -> str:
    """The rows as a Markdown table."""
    words = {True: "yes", False: "**no**", None: ""}
    lines = [
        "| what | measured | floor | ratio: median (range) | must reach | reached |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    lines += [
        f"| {row.what} | {row.measured} | {row.floor} | {row.ratio} | {row.target} | {words[row.reached]} |"
        for row in rows
    ]
    return "\n".join(lines)
