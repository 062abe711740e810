"""Leases: background work runs in one process at a time, and moves to another when its holder stops renewing."""

from __future__ import annotations

from ledger.store.engine import Store
from ledger.store.store_settings import put_setting, setting_of


def take_lease(store: Store, duty: str, holder: str, now_ms: int, length_ms: int) -> bool:
    """Take or renew the lease of a duty for ``length_ms``; False while another holder's runs.

    The processes' clocks must agree to well within ``length_ms``. Two holders at once do no harm to the book (what a
    duty says has idempotency keys), only work twice.
    """
    name = f"lease:{duty}"
    with store.writing(moved_too=True) as transaction:
        found = setting_of(transaction, name)
        if found is not None:
            other, _, until = found.rpartition(" ")
            if other != holder and int(until) > now_ms:
                return False
        put_setting(transaction, name, f"{holder} {now_ms + length_ms}")
    return True


def end_lease(store: Store, duty: str, holder: str) -> None:
    """Give a lease up, so that another process need not wait for its end."""
    name = f"lease:{duty}"
    with store.writing(moved_too=True) as transaction:
        found = setting_of(transaction, name)
        if found is not None and found.rpartition(" ")[0] == holder:
            transaction.run('DELETE FROM "setting" WHERE "name" = ?', (name,))
