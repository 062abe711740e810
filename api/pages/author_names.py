"""The names of those who said something, for pages that tell it in order."""

from __future__ import annotations

from typing import Any

from ledger.duties.rechecks import DUTIES
from ledger.store.accounts import list_accounts
from ledger.store.engine import Store


def author_values(store: Store) -> dict[str, Any]:
    """What ``author`` of ``book/book-parts.html`` needs: each account's name, None where it was erased, and the book's own."""
    return {"names": {row.account: row.name for row in list_accounts(store)}, "duties": DUTIES}
