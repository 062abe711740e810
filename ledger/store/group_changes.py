"""Which views the last groups changed: so that a writer keeps, after another process's groups, what those left alone.

Each group of a writer adds one line to a setting, in its own transaction: the sizes of the book before and after it, and
the names of the views in which it changed rows.  The line says nothing that the entries do not give, and is never relied
on where it is missing: then a writer forgets everything that it had loaded, as it does where a group was entered by a
program that writes no such lines.
"""

from __future__ import annotations

from collections.abc import Iterable

from ledger.line.rows import Row
from ledger.line.views import VIEW_OF
from ledger.store.store_settings import CHANGES, PUT_SETTING
from ledger.store.transaction import Transaction
from ledger.store.view_tables import VIEW_TABLES

KEPT = 16
"""Groups that are told of: whoever fell further behind forgets more than that anyway."""

ALL = "*"
"""In the place of names: a group that deleted something beside the views, such as an erasure."""

BESIDE_VIEWS = frozenset(VIEW_OF) - frozenset(VIEW_TABLES)
"""What is loaded like the rows of views, and lies elsewhere: bodies in entries, openings, names of accounts, files."""

_NAMES = {row: table.name for row, table in VIEW_TABLES.items()}


def note_changes(
    transaction: Transaction, told: str, before: int, after: int, rows: Iterable[type[Row]] | None
) -> None:
    """Add what a group changed to ``told``, the setting as it was read under the head's lock.

    ``rows``: the views, by their rows; None for all, and for what lies beside them.
    """
    names = ALL if rows is None else ",".join(sorted(_NAMES[row] for row in rows))
    earlier = told.split(";")[1 - KEPT :] if told else []
    transaction.put_many(PUT_SETTING, [(CHANGES, ";".join([*earlier, f"{before} {after} {names}"]))])


def changed_views(told: str, before: int, after: int) -> frozenset[type[Row]] | None:
    """The views that the groups between two sizes of the book changed; None where that is not known, or is everything."""
    known = {name: row for row, name in _NAMES.items()}
    found: set[type[Row]] = set()
    size = before
    for group in told.split(";"):
        first, _, rest = group.partition(" ")
        last, _, names = rest.partition(" ")
        if size == after or first != str(size):
            continue
        changed = names.split(",") if names else []
        if not last.isdecimal() or not known.keys() >= set(changed):
            return None
        found.update(known[name] for name in changed)
        size = int(last)
    return frozenset(found) if size == after else None
