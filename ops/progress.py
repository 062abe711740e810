"""Progress of long work: a line that is written over on a terminal, a line now and then where there is none."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO


class Progress:
    """Call it with (done, whole); it says what it does, how far it is, and ends its line when told."""

    def __init__(self, what: str, stream: TextIO | None = None) -> None:
        """``what`` is the work in words, such as ``checking entries``."""
        self._what = what
        self._stream = sys.stderr if stream is None else stream
        self._live = self._stream.isatty()
        self._next = 0.0
        self._open = False

    def __call__(self, done: int, whole: int) -> None:
        """Show how far the work is; at most ten times a second on a terminal, every five seconds elsewhere."""
        now = time.monotonic()
        if now < self._next and done < whole:
            return
        self._next = now + (0.1 if self._live else 5.0)
        share = 100 * done // whole if whole else 100
        text = f"{self._what}: {done:,} of {whole:,} ({share} %)"
        self._stream.write(f"\r{text}\x1b[K" if self._live else f"{text}\n")
        self._stream.flush()
        self._open = self._live

    def end(self) -> None:
        """Leave the line, if one is open."""
        if self._open:
            self._stream.write("\n")
            self._open = False


@contextmanager
def showing(what: str) -> Iterator[Progress]:
    """Progress of a work in words, whose line is left at its end, whatever ends it."""
    progress = Progress(what)
    try:
        yield progress
    finally:
        progress.end()
