"""What the walk prints: steps, aligned lines, and a line of progress that moves where there is a terminal.

No colour and no cursor movement but the carriage return, and that one only on a terminal.
"""

from __future__ import annotations

import sys
import textwrap
import time
from collections.abc import Callable, Iterable, Sequence
from typing import TextIO

WIDTH = 110
LABEL = 18
EVERY_S = 0.1
PLAIN_STEPS = 4
"""How many lines of progress there are where there is no terminal."""


class Screen:
    """Writes the walk to a stream."""

    def __init__(self, out: TextIO | None = None) -> None:
        """Standard output where none is given."""
        self._out = sys.stdout if out is None else out
        self._moves = self._out.isatty()

    def title(self, text: str) -> None:
        """A heading, with an empty line before it."""
        self.line()
        self.line(text)

    def line(self, text: str = "") -> None:
        """One line."""
        print(text, file=self._out, flush=True)

    def say(self, label: str, text: str) -> None:
        """A label and what belongs to it, wrapped under itself."""
        rows = textwrap.wrap(text, WIDTH - LABEL - 3, break_long_words=False, break_on_hyphens=False) or [""]
        self.line(f"  {label:<{LABEL}} {rows[0]}")
        for row in rows[1:]:
            self.line(f"  {'':<{LABEL}} {row}")

    def table(self, rows: Iterable[Sequence[str]]) -> None:
        """Rows in aligned columns, under the texts of `say`."""
        cells = [tuple(row) for row in rows]
        widths = [max(len(cell) for cell in column) for column in zip(*cells, strict=True)]
        for row in cells:
            text = "  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip()
            self.line(f"  {'':<{LABEL}} {text}")

    def progress(self, what: str) -> Callable[[float], None]:
        """A function to be told the share that is done, 0 to 1; call it with 1 at the end."""
        began, last = time.monotonic(), [-1.0, -1.0]

        def told(share: float) -> None:
            now = time.monotonic()
            if self._moves:
                if share < 1 and now - last[0] < EVERY_S:
                    return
                text = f"\r  {what}: {share:4.0%}" if share < 1 else f"\r{'':<{len(what) + 10}}\r"
                print(text, end="", file=self._out, flush=True)
            elif int(share * PLAIN_STEPS) > last[1] and share < 1:
                last[1] = int(share * PLAIN_STEPS)
                self.line(f"  {what}: {share:.0%} after {now - began:.0f} s")
            last[0] = now

        return told
