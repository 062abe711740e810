"""What a check may see: the view rows that were asked for, and the changes that the submissions before it made.

A record kind first states its **needs** (`Need`: all rows of a view whose column has a value); the writer loads the
needs of a whole group in set queries; checks and effects then read and write this overlay alone.  Reading what was not
asked for raises `NotLoaded`: that is a fault of the kind, never of the input.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple, TypeVar

import msgspec

from ledger.line.rows import Row
from ledger.line.views import VIEW_OF, View

R = TypeVar("R", bound=Row)

Key = tuple[Any, ...]


class Need(NamedTuple):
    """All rows of ``row`` whose ``column`` equals ``value``."""

    row: type[Row]
    column: str
    value: str


class NotLoaded(LookupError):
    """A check read rows that its kind did not state as a need."""


class State:
    """An overlay over loaded rows.

    ``load`` fills a bucket; ``put`` and ``drop`` change rows and remember the change; ``take_changes`` hands the
    changes to whoever stores them.  A mark makes everything after it undoable, so that a refused submission leaves
    nothing behind.
    """

    def __init__(self) -> None:
        """Start with nothing loaded."""
        self._rows: dict[type[Row], dict[Key, Row]] = {row: {} for row in VIEW_OF}
        self._buckets: dict[tuple[type[Row], str, str], dict[Key, None]] = {}  # a Need is such a tuple
        self._changes: dict[tuple[type[Row], Key], Row | None] = {}
        self._undo: list[tuple[View, Key, Row | None, tuple[bool, Row | None]]] = []

    def has(self, need: Need) -> bool:
        """Whether the need is loaded already."""
        return need in self._buckets

    def load(self, need: Need, rows: Iterable[Row]) -> None:
        """Fill a bucket with stored rows; rows that the overlay holds already are kept as the overlay has them."""
        view = VIEW_OF[need.row]
        held = self._rows[need.row]
        bucket: dict[Key, None] = {}
        for row in rows:
            key = _key(view, row)
            if (need.row, key) in self._changes:
                continue
            held[key] = row
            bucket[key] = None
        for (kind, key), changed in self._changes.items():
            if kind is need.row and changed is not None and getattr(changed, need.column) == need.value:
                bucket[key] = None
        self._buckets[need] = bucket

    def where(self, row: type[R], column: str, value: str) -> list[R]:
        """All rows of a view with this value in the column. Raises NotLoaded when that was not asked for."""
        bucket = self._buckets.get((row, column, value))
        if bucket is None:
            message = f"not loaded: {row.__name__}.{column}={value}"
            raise NotLoaded(message)
        held = self._rows[row]
        return [held[key] for key in bucket]  # type: ignore[misc]  # rows of one view are of its class

    def one(self, row: type[R], value: str) -> R | None:
        """The row with this single-column key, or None when the book has none."""
        view = VIEW_OF[row]
        found = self._rows[row].get((value,))
        if found is not None:
            return found  # type: ignore[return-value]  # rows of one view are of its class
        if (row, view.key[0], value) not in self._buckets:
            message = f"not loaded: {row.__name__} {value}"
            raise NotLoaded(message)
        return None

    def put(self, row: Row) -> None:
        """Enter a row, or replace the one with its key."""
        view = VIEW_OF[type(row)]
        self._change(view, _key(view, row), row)

    def held(self, row: type[R], key: str) -> R | None:
        """The row with this key if the overlay holds it; for effects, whose node is always loaded."""
        return self._rows[row].get((key,))  # type: ignore[return-value]  # rows of one view are of its class

    def all_of(self, row: type[R]) -> list[R]:
        """Every row of a view that the overlay holds."""
        return list(self._rows[row].values())  # type: ignore[arg-type]  # rows of one view are of its class

    def alter(self, row: type[Row], key: str, **columns: Any) -> None:
        """Set columns of the row with this key; nothing where the node has no such row (its making was withdrawn)."""
        held = self._rows[row].get((key,))
        if held is not None:
            self.put(msgspec.structs.replace(held, **columns))

    def add(self, row: type[Row], key: str, **amounts: int) -> None:
        """Add to whole-number columns of the row with this key; nothing where the node has no such row."""
        held = self._rows[row].get((key,))
        if held is not None:
            sums = {column: getattr(held, column) + amount for column, amount in amounts.items()}
            self.put(msgspec.structs.replace(held, **sums))

    def drop(self, row: Row) -> None:
        """Remove a row."""
        view = VIEW_OF[type(row)]
        self._change(view, _key(view, row), None)

    def _change(self, view: View, key: Key, row: Row | None) -> None:
        held = self._rows[view.row]
        old = held.get(key)
        address = (view.row, key)
        self._undo.append((view, key, old, (address in self._changes, self._changes.get(address))))
        self._changes[address] = row
        self._place(view, key, old, row)

    def _place(self, view: View, key: Key, old: Row | None, row: Row | None) -> None:
        held = self._rows[view.row]
        if row is None:
            held.pop(key, None)
        else:
            held[key] = row
        buckets = self._buckets
        for column in view.lookups:
            before = getattr(old, column) if old is not None else None
            after = getattr(row, column) if row is not None else None
            if before != after and before is not None:
                bucket = buckets.get((view.row, column, before))
                if bucket is not None:
                    bucket.pop(key, None)
            if after is not None:
                bucket = buckets.get((view.row, column, after))
                if bucket is not None:
                    bucket[key] = None

    def mark(self) -> int:
        """A point to return to."""
        return len(self._undo)

    def undo_to(self, mark: int) -> None:
        """Take back every change since the mark."""
        while len(self._undo) > mark:
            view, key, old, (was_changed, change) = self._undo.pop()
            current = self._rows[view.row].get(key)
            self._place(view, key, current, old)
            if was_changed:
                self._changes[(view.row, key)] = change
            else:
                del self._changes[(view.row, key)]

    def take_changes(self) -> dict[type[Row], tuple[list[Row], list[Key]]]:
        """Per view: rows to store (insert or replace), and keys to delete. The overlay then counts them as stored."""
        taken: dict[type[Row], tuple[list[Row], list[Key]]] = {}
        for (kind, key), row in self._changes.items():
            rows, gone = taken.setdefault(kind, ([], []))
            if row is None:
                gone.append(key)
            else:
                rows.append(row)
        self._changes.clear()
        self._undo.clear()
        return taken

    def size(self) -> int:
        """How many rows are held; a writer empties an overlay that grew too large."""
        return sum(len(rows) for rows in self._rows.values())

    def forget(self) -> None:
        """Drop everything loaded. Only between groups: changes not taken are lost."""
        for rows in self._rows.values():
            rows.clear()
        self._buckets.clear()
        self._changes.clear()
        self._undo.clear()


def _key(view: View, row: Row) -> Key:
    return tuple([getattr(row, column) for column in view.key])
