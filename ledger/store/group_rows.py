"""The rows of a group on their way into the store: its entries, and what they changed in the views.

A large group goes in stretches, which the database works on while the next is checked (`Transaction.send_many`): all within
the group's one transaction, so that nothing of it stands before all of it does.
"""

from __future__ import annotations

from ledger.book.canonical import encode
from ledger.line.rows import Row
from ledger.line.state import State
from ledger.store.group import Draft, Group
from ledger.store.transaction import Transaction
from ledger.store.view_tables import VIEW_TABLES

STRETCH = 64
"""Entries of a stretch; a group of fewer goes as a whole, each statement of it prepared."""

_ENTRY = 'INSERT INTO "entry" ("index", "hash", "bytes", "recorded_ms") VALUES (?, ?, ?, ?)'
_OPENING = 'INSERT INTO "opening" ("index", "path", "position", "sealing", "salt", "value") VALUES (?, ?, ?, ?, ?, ?)'
_REQUEST = 'INSERT INTO "request" ("key", "author", "index", "digest") VALUES (?, ?, ?, ?)'


class GroupRows:
    """Enters a group's rows; ``changed``: the views in which that changed any."""

    def __init__(self, transaction: Transaction, state: State) -> None:
        """Nothing is entered yet; ``state`` knows what the group changes."""
        self._transaction = transaction
        self._state = state
        self._entered = 0
        self._ahead = False
        self.changed: set[type[Row]] = set()

    def drafted(self, group: Group) -> None:
        """Another entry was drafted: a stretch that is full is sent, where the database works on it meanwhile."""
        if self._transaction.dialect.works_beside and len(group.drafts) - self._entered >= STRETCH:
            self._ahead = True
            self.enter_entries(group)
            self.enter_changes()

    def enter_entries(self, group: Group) -> None:
        """Enter the entries that are not entered yet."""
        drafts, self._entered = group.drafts[self._entered :], len(group.drafts)
        enter = self._transaction.send_many if self._ahead else self._transaction.put_many
        enter(_ENTRY, entry_rows(drafts, group.recorded_ms))
        openings = opening_rows(drafts)
        if openings:
            enter(_OPENING, openings)
        enter(_REQUEST, request_rows(drafts))

    def enter_changes(self) -> None:
        """Enter what changed in the views and is not entered yet."""
        self.changed |= store_changes(self._transaction, self._state, ahead=self._ahead)


def entry_rows(drafts: list[Draft], recorded_ms: int) -> list[tuple[int, bytes, bytes, int]]:
    """Rows of ``entry``."""
    return [(draft.index, draft.hash, draft.raw, recorded_ms) for draft in drafts]


def opening_rows(drafts: list[Draft]) -> list[tuple[int, str, int, str, bytes, bytes]]:
    """Rows of ``opening``."""
    return [
        (draft.index, opening.path, int(opening.path.partition("/")[0]), sealing, opening.salt, encode(opening.value))
        for draft in drafts
        for opening, sealing in zip(draft.asked.sealed.openings, draft.asked.sealed.sealings, strict=True)
    ]


def request_rows(drafts: list[Draft]) -> list[tuple[str, str, int, bytes]]:
    """Rows of ``request``."""
    return [(draft.asked.key, draft.asked.author, draft.index, draft.asked.digest) for draft in drafts]


def store_changes(transaction: Transaction, state: State, suffix: str = "", *, ahead: bool = False) -> set[type[Row]]:
    """Enter what changed in the overlay into the views, rows by their key and keys that are gone; which views changed.

    ``ahead``: nobody waits for it (`Transaction.send_many`).
    """
    changes = state.take_changes()
    enter = transaction.send_many if ahead else transaction.put_many
    for row, (rows, gone) in changes.items():
        table = VIEW_TABLES[row]
        if gone:
            enter(table.delete(suffix), gone)
        if rows:
            for statement, values in table.writes(rows, suffix):
                enter(statement, values)
    return set(changes)
