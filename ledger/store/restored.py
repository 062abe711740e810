"""Heads of a book that lie beyond what it was restored to, as its own entries say (`ledger.line.restorations`).

The store remembers which entries those are; what they say is read from the entries.
"""

from __future__ import annotations

from ledger.errors import StoreDamaged
from ledger.store.bodies import decode_said
from ledger.store.transaction import Transaction

_NAME = "restored"
_FIND = 'SELECT "value" FROM "setting" WHERE "name" = ?'
_PUT = 'INSERT INTO "setting" ("name", "value") VALUES (?, ?) ON CONFLICT ("name") DO UPDATE SET "value" = excluded."value"'


def note_restored(transaction: Transaction, index: int) -> None:
    """Remember that entry ``index`` says that the book was restored."""
    found = transaction.row(_FIND, (_NAME,))
    before = str(found[0]).split() if found is not None else []
    transaction.run(_PUT, (_NAME, " ".join([*before, str(index)])))


def lost_heads(transaction: Transaction) -> frozenset[tuple[int, bytes]]:
    """Size and root of each head that entries of the book give up. Raises StoreDamaged."""
    found = transaction.row(_FIND, (_NAME,))
    lost: set[tuple[int, bytes]] = set()
    for index in str(found[0]).split() if found is not None else ():
        row = transaction.row('SELECT "bytes" FROM "entry" WHERE "index" = ?', (int(index),))
        records = [] if row is None else decode_said(row[0]).said["records"]
        said = [record for record in records if record["kind"] == "book-restored"]
        if not said:
            raise StoreDamaged("no entry says that the book was restored", where=f"entry {index}")
        lost |= {(head["size"], bytes.fromhex(head["root"])) for one in said for head in one["seen"]}
    return frozenset(lost)
