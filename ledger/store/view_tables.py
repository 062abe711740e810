"""The views as tables, made from `ledger.line.views.VIEWS`, and what they are kept as.

A view may be built beside the standing one under a suffix, then take its place.
"""

from __future__ import annotations

import hashlib
from functools import cache

from ledger.line.reading_rows import Measured
from ledger.line.rows import Row
from ledger.line.views import VIEWS
from ledger.store.readings_table import MANNERS, MannerTable, ReadingManner, ReadingsTable
from ledger.store.view_table import COUNTED_WITH, FURTHER, ViewTable

FOLD = 8
"""Raised whenever the same entries give other rows than before, so that stored views are made anew."""

BESIDE = "__beside"
"""Suffix of a view that is being built beside the standing one."""

BEFORE = "__before"
"""Suffix of a view whose place another has taken, until it is dropped."""

CHECK = "__check"
"""Suffix of a temporary view that a check of the book fills."""

VIEW_TABLES: dict[type[Row], ViewTable] = {
    **{view.row: ReadingsTable(view) if view.row is Measured else ViewTable(view) for view in VIEWS},
    ReadingManner: MannerTable(MANNERS),
}


@cache
def views_digest() -> str:
    """Digest of the views' fold and shape: another one means that the stored views are of an earlier program."""
    shape = [
        (
            table.name,
            table.view.key,
            table.indexed(),
            [(name, kind.__name__, null) for name, (kind, null) in table.types.items()],
        )
        for table in VIEW_TABLES.values()
    ]
    return hashlib.sha256(repr((FOLD, shape, COUNTED_WITH, FURTHER)).encode()).hexdigest()
