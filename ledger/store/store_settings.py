"""Values that belong to a store, by their names: beside the book, and no part of what its entries say."""

from __future__ import annotations

from ledger.store.transaction import Transaction

PUT_SETTING = 'INSERT INTO "setting" ("name", "value") VALUES (?, ?) ON CONFLICT ("name") DO UPDATE SET "value" = excluded."value"'

CHANGES = "group-changes"
"""The setting that tells which views the last groups changed (`ledger.store.group_changes`)."""


def put_setting(transaction: Transaction, name: str, value: str) -> None:
    """Set a value, whatever stood there."""
    transaction.run(PUT_SETTING, (name, value))


def setting_of(transaction: Transaction, name: str) -> str | None:
    """The value of this name; None where there is none."""
    found = transaction.row('SELECT "value" FROM "setting" WHERE "name" = ?', (name,))
    return None if found is None else str(found[0])
