"""A large selection read in two halves at once: the first here, the second in the process beside, from the same head.

Where there is no such process, where it fails, or where it finds another head, both are read here: the answer is the same.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

from ledger.application.reading_process import Inside
from ledger.store.columns import middle_unit
from ledger.store.long_look import open_long_reader
from ledger.store.reader import Reader
from ledger.store.selections import Selection

Part = Callable[..., Any]
"""A function of a module, called as ``part(reader, selection, ...)``; what it takes and gives must survive pickle."""


class Halves:
    """``first`` is to be read by who asks: the whole selection where it is not split. `second` gives the rest."""

    def __init__(self, reader: Reader, selection: Selection, part: Part, *arguments: Any) -> None:
        """Begin with the second half in the other process, where the selection is large enough."""
        self._reader, self._part, self._arguments = reader, part, arguments
        self._asked: Future[Any] | None = None
        self.first = self._second = selection
        middle = None if reader.beside is None else middle_unit(reader, selection, reader.beside.over)
        if reader.beside is not None and middle is not None:
            self.first, self._second = selection._replace(until=middle), selection._replace(after=middle)
            self._asked = reader.beside.begin(_part_beside, reader.head().size, part, self._second, arguments)

    def second(self) -> Any:
        """What ``part`` gives for the second half; None where the selection is not split."""
        if self._asked is None:
            return None
        found = self._asked.result()
        return self._part(self._reader, self._second, *self._arguments) if found is None else found


def _part_beside(inside: Inside, size: int, part: Part, selection: Selection, arguments: tuple[Any, ...]) -> Any:
    """The part, or None where the book does not end at ``size`` entries."""
    with open_long_reader(inside.store) as reader:
        return part(reader, selection, *arguments) if reader.head().size == size else None
