"""The receipt of an entry as a page carries it, for the browser to check by itself.

The page gives no more of an entry than its JSON route does: who may not see whole entries gets the hash, which is public
as part of the tree, and the page says that the content itself was not hashed by the browser.
"""

from __future__ import annotations

import msgspec

from ledger.application.histories import Told
from ledger.application.pourbook import Pourbook
from ledger.book.signing import format_verifier
from ledger.errors import NotFound
from ledger.line.fact import parse_address
from ledger.store.reader import open_reader

ENGRAVINGS = ("ball-engraved-anew", "ball-engraved", "ball-imported", "unit-started")
"""The kinds of record by which a ball came into the book, the one that counts first."""


class ReceiptShown(msgspec.Struct, frozen=True, kw_only=True):
    """A receipt, the hash of its entry (hex), and the keys whose signature is looked for (C2SP verifier key lines)."""

    index: int
    receipt: str
    entry_hash: str
    keys: tuple[str, ...]


def engraving_entry(history: tuple[Told, ...]) -> int | None:
    """The entry by which a ball got the number that it bears, or came into the book."""
    for kind in ENGRAVINGS:
        found = [told for told in history if told.kind == kind and told.standing]
        if found:
            return parse_address(found[-1].fact)[0]
    return None


def receipt_shown(book: Pourbook, index: int) -> ReceiptShown | None:
    """The receipt of an entry against the newest checkpoint; None where none covers it yet."""
    try:
        receipt = book.receipt(index)
    except NotFound:
        return None
    with open_reader(book.store) as reader:
        entry_hash = reader.entry(index).hash.hex()
    keys = tuple(format_verifier(key) for key in book.checkpoint_keys())
    return ReceiptShown(index=index, receipt=receipt, entry_hash=entry_hash, keys=keys)
