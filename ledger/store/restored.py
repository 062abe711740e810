"""Heads of a book that lie beyond what it was restored to, as its own entries say (`ledger.line.restorations`).

The store remembers which entries those are; what they say is read from the entries.
"""

from __future__ import annotations

from ledger.errors import StoreDamaged
from ledger.store.archived_entries import filled
from ledger.store.bodies import decode_said
from ledger.store.store_settings import put_setting, setting_of
from ledger.store.transaction import Transaction

_NAME = "restored"


def note_restored(transaction: Transaction, index: int) -> None:
    """Remember that entry ``index`` says that the book was restored."""
    before = (setting_of(transaction, _NAME) or "").split()
    put_setting(transaction, _NAME, " ".join([*before, str(index)]))


def lost_heads(transaction: Transaction) -> frozenset[tuple[int, bytes]]:
    """Size and root of each head that entries of the book give up. Raises StoreDamaged."""
    lost: set[tuple[int, bytes]] = set()
    for index in (setting_of(transaction, _NAME) or "").split():
        rows = transaction.rows('SELECT "index", "bytes" FROM "entry" WHERE "index" = ?', (int(index),))
        records = [record for _, raw in filled(transaction, rows) for record in decode_said(raw).said["records"]]
        said = [record for record in records if record["kind"] == "book-restored"]
        if not said:
            raise StoreDamaged("no entry says that the book was restored", where=f"entry {index}")
        lost |= {(head["size"], bytes.fromhex(head["root"])) for one in said for head in one.get("seen", ())}
    return frozenset(lost)
