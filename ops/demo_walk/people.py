"""Letting people into the demo: every account of the invented plant gets one password, known to everyone."""

from __future__ import annotations

from ledger.access.passwords import sign_in_name
from ledger.application.password_hashes import Cost, PasswordHashes
from ledger.application.pourbook import wall_clock_ms
from ledger.application.sign_in import set_password
from ledger.store.accounts import Account, list_accounts
from ledger.store.engine import open_store

PASSWORD = "demo only, public password"  # noqa: S105  # of an invented plant, and shown to whoever runs the demo

# A dozen accounts at the full cost would take seconds; what protects nothing need not be dear.
_CHEAP = PasswordHashes(Cost(1, 8, 1))


def let_people_in(store_url: str) -> list[Account]:
    """Give every account of the store that has a name of its own the demo's password; those accounts, as they were opened.

    Passwords lie beside the book, so a service may have the store open all the while.
    """
    store = open_store(store_url)
    try:
        taken: set[str] = set()
        people = []
        for account in list_accounts(store):
            name = sign_in_name(account.name or "")
            if account.closed_ms is None and name and name not in taken:
                set_password(store, account.account, PASSWORD, wall_clock_ms(), must_change=False, hashes=_CHEAP)
                taken.add(name)
                people.append(account)
        return people
    finally:
        store.close()
