"""What a check may see: the view rows that were asked for, and the changes that the submissions before it made.

A record kind first states its **needs** (`Need`: all rows of a view whose column has a value); the writer loads the
needs of a whole group in set queries; checks and effects then read and write this overlay alone.  Reading what was not
asked for raises `NotLoaded`: that is a fault of the kind, never of the input.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from operator import attrgetter
from typing import Any, TypeVar

import msgspec

from ledger.line.rows import About, FactRow, Row
from ledger.line.views import VIEW_OF, View

R = TypeVar("R", bound=Row)

Key = tuple[Any, ...]
"""The values of a view's key columns."""

_LOG = frozenset({FactRow, About})
"""What every fact puts and only a correction reads, which asks for it: not worth holding once it is stored."""

_UNCHANGED: Any = object()
"""In the place of an earlier change: there was none."""


class Need(msgspec.Struct, frozen=True, gc=False):
    """All rows of ``row`` whose ``column`` equals ``value``."""

    row: type[Row]
    column: str
    value: str


class NotLoaded(LookupError):
    """A check read rows that its kind did not state as a need."""


class _Held:
    """What is held of one view. Rows are found by their key column's value, or by the tuple of several.

    ``buckets``: by column and value the keys of the rows that have it; only of columns that were asked by, so that a put
    looks at no other.  ``changes``: rows not taken yet, None for one that is gone.  ``memo``: see `State.memo`.
    """

    __slots__ = ("buckets", "changes", "key_of", "memo", "row", "rows")

    def __init__(self, view: View) -> None:
        self.row = view.row
        self.key_of: Callable[[Any], Any] = attrgetter(*view.key)
        self.rows: dict[Any, Row] = {}
        self.buckets: dict[str, dict[Any, dict[Any, None]]] = {}
        self.changes: dict[Any, Row | None] = {}
        self.memo: dict[Any, Any] = {}

    def place(self, key: Any, old: Row | None, row: Row | None) -> None:
        """Put ``row`` where ``old`` was."""
        if row is None:
            self.rows.pop(key, None)
        else:
            self.rows[key] = row
        for column, buckets in self.buckets.items():
            before = None if old is None else getattr(old, column)
            after = None if row is None else getattr(row, column)
            if before is not None and before != after and before in buckets:
                buckets[before].pop(key, None)
            if after is not None and after in buckets:
                buckets[after][key] = None
        if self.memo:
            self.memo.clear()

    def load(self, column: str, value: Any, rows: Iterable[Row]) -> None:
        """Fill a bucket with stored rows; a row that was changed stays as it was changed."""
        bucket: dict[Any, None] = {}
        for row in rows:
            key = self.key_of(row)
            if key not in self.changes:
                self.rows[key] = row
                bucket[key] = None
        if self.changes:
            for key, changed in self.changes.items():
                if changed is not None and getattr(changed, column) == value:
                    bucket[key] = None
        self.buckets.setdefault(column, {})[value] = bucket


class State:
    """An overlay over loaded rows.

    ``load`` fills a bucket; ``put`` and ``drop`` change rows and remember the change; ``take_changes`` hands the
    changes to whoever stores them.  A mark makes everything after it undoable, so that a refused submission leaves
    nothing behind.
    """

    def __init__(self) -> None:
        """Start with nothing loaded."""
        self._held = {row: _Held(view) for row, view in VIEW_OF.items()}
        self._undo: list[tuple[_Held, Any, Row | None, Row | None]] = []

    def has(self, need: Need) -> bool:
        """Whether the need is loaded already."""
        return need.value in self._held[need.row].buckets.get(need.column, ())

    def lacking(self, needs: Iterable[Need]) -> list[Need]:
        """Those of the needs that are not loaded yet."""
        views = self._held
        return [need for need in needs if need.value not in views[need.row].buckets.get(need.column, ())]

    def load(self, need: Need, rows: Iterable[Row]) -> None:
        """Fill a bucket with stored rows; rows that the overlay holds already are kept as the overlay has them."""
        self._held[need.row].load(need.column, need.value, rows)

    def load_all(self, row: type[Row], column: str, values: Iterable[str], found: Mapping[str, Iterable[Row]]) -> None:
        """`load` of many values of one column: ``found`` has the rows of those that have any."""
        held = self._held[row]
        # Most values of a column that is asked by have no row yet: there is nothing to hold then but that.
        empty = not held.changes
        buckets = held.buckets.setdefault(column, {})
        for value in values:
            if empty and value not in found:
                buckets[value] = {}
            else:
                held.load(column, value, found.get(value, ()))

    def expect(self, row: type[Row], column: str, value: Any) -> None:
        """Take a need as loaded with no stored row, if it is not loaded yet: for a fold that starts from nothing."""
        self._held[row].buckets.setdefault(column, {}).setdefault(value, {})

    def where(self, row: type[R], column: str, value: str) -> list[R]:
        """All rows of a view with this value in the column. Raises NotLoaded when that was not asked for."""
        held = self._held[row]
        buckets = held.buckets.get(column)
        bucket = None if buckets is None else buckets.get(value)
        if bucket is None:
            message = f"not loaded: {row.__name__}.{column}={value}"
            raise NotLoaded(message)
        rows = held.rows
        return [rows[key] for key in bucket] if bucket else []  # type: ignore[misc]  # rows of one view are of its class

    def one(self, row: type[R], value: str) -> R | None:
        """The row with this single-column key, or None when the book has none."""
        held = self._held[row]
        found = held.rows.get(value)
        if found is not None:
            return found  # type: ignore[return-value]  # rows of one view are of its class
        if value not in held.buckets.get(VIEW_OF[row].key[0], ()):
            message = f"not loaded: {row.__name__} {value}"
            raise NotLoaded(message)
        return None

    def memo(self, row: type[Row]) -> dict[Any, Any]:
        """What was worked out from loaded rows of this view; it is forgotten when any of them changes.

        Loading more does not change what follows from rows that were loaded, so it leaves the memo alone.
        """
        return self._held[row].memo

    def put(self, row: Row) -> None:
        """Enter a row, or replace the one with its key."""
        held = self._held[type(row)]
        key = held.key_of(row)
        rows, changes = held.rows, held.changes
        old = rows.get(key)
        self._undo.append((held, key, old, changes.get(key, _UNCHANGED)))
        changes[key] = row
        if held.buckets or held.memo:
            held.place(key, old, row)
        else:
            rows[key] = row

    def hold(self, row: Row) -> None:
        """Hold a row as one that was loaded, by its key alone: for whoever asks by `held` and `all_of`."""
        held = self._held[type(row)]
        held.rows[held.key_of(row)] = row

    def enter(self, row: Row, columns: Iterable[str]) -> None:
        """Put a row that is not undone and not stored; it is found by these columns too."""
        held = self._held[type(row)]
        key = held.key_of(row)
        old = held.rows.get(key)
        if old is not None:
            held.place(key, old, row)
        held.rows[key] = row
        buckets = held.buckets
        for column in columns:
            value = getattr(row, column)
            if value is not None:
                buckets.setdefault(column, {}).setdefault(value, {})
        for column, by_value in buckets.items():
            value = getattr(row, column)
            if value is not None and value in by_value:
                by_value[value][key] = None
        if held.memo:
            held.memo.clear()

    def held(self, row: type[R], key: str) -> R | None:
        """The row with this key if the overlay holds it; for effects, whose node is always loaded."""
        return self._held[row].rows.get(key)  # type: ignore[return-value]  # rows of one view are of its class

    def all_of(self, row: type[R]) -> list[R]:
        """Every row of a view that the overlay holds."""
        return list(self._held[row].rows.values())  # type: ignore[arg-type]  # rows of one view are of its class

    def alter(self, row: type[Row], key: str, **columns: Any) -> None:
        """Set columns of the row with this key; nothing where the node has no such row (its making was withdrawn)."""
        found = self._held[row].rows.get(key)
        if found is not None:
            self.put(msgspec.structs.replace(found, **columns))

    def add(self, row: type[Row], key: str, **amounts: int) -> None:
        """Add to whole-number columns of the row with this key; nothing where the node has no such row."""
        found = self._held[row].rows.get(key)
        if found is not None:
            sums = {column: getattr(found, column) + amount for column, amount in amounts.items()}
            self.put(msgspec.structs.replace(found, **sums))

    def drop(self, row: Row) -> None:
        """Remove a row."""
        held = self._held[type(row)]
        key = held.key_of(row)
        old = held.rows.get(key)
        self._undo.append((held, key, old, held.changes.get(key, _UNCHANGED)))
        held.changes[key] = None
        held.place(key, old, None)

    def mark(self) -> int:
        """A point to return to."""
        return len(self._undo)

    def undo_to(self, mark: int) -> None:
        """Take back every change since the mark."""
        while len(self._undo) > mark:
            held, key, old, change = self._undo.pop()
            held.place(key, held.rows.get(key), old)
            if change is _UNCHANGED:
                del held.changes[key]
            else:
                held.changes[key] = change

    def take_changes(self) -> dict[type[Row], tuple[list[Row], list[Key]]]:
        """Per view: rows to store (insert or replace), and keys to delete. The overlay then counts them as stored."""
        taken: dict[type[Row], tuple[list[Row], list[Key]]] = {}
        for row_type, held in self._held.items():
            if held.changes:
                rows = [row for row in held.changes.values() if row is not None]
                gone = (
                    [key for key, row in held.changes.items() if row is None] if len(rows) < len(held.changes) else []
                )
                taken[row_type] = (rows, [key if isinstance(key, tuple) else (key,) for key in gone])
                held.changes.clear()
                if row_type in _LOG and not held.buckets:
                    held.rows.clear()
        self._undo.clear()
        return taken

    def size(self) -> int:
        """How many rows are held; a writer empties an overlay that grew too large."""
        return sum(len(held.rows) for held in self._held.values())

    def forget_rows(self, rows: Iterable[type[Row]]) -> None:
        """Drop what is loaded of these views, and every memo: what was worked out may rest on several views.

        Only between groups, like `forget`.
        """
        for row in rows:
            held = self._held[row]
            for part in (held.rows, held.buckets, held.changes):
                part.clear()
        for held in self._held.values():
            held.memo.clear()
        self._undo.clear()

    def forget(self) -> None:
        """Drop everything loaded. Only between groups: changes not taken are lost."""
        for held in self._held.values():
            for part in (held.rows, held.buckets, held.changes, held.memo):
                part.clear()
        self._undo.clear()
