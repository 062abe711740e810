"""A book brought into another store by a command: its entries copied, then its views made anew, with progress shown."""

from __future__ import annotations

from ledger.store.copying import Copied, copy_book
from ledger.store.engine import Store
from ledger.store.rebuild import rebuild_views
from ops.progress import showing


def fill(source: Store, target: Store, *, move: bool = False) -> Copied:
    """Copy the book of ``source``; see `ledger.store.copying.copy_book` for what is raised."""
    with showing("copying entries") as progress:
        copied = copy_book(source, target, move=move, progress=progress)
    with showing("making the views") as progress:
        rebuild_views(target, progress)
    return copied
