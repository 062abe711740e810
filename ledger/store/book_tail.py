"""The writer's memory of where the book ends: head, tree edge and frontier, valid for one head only.

Loading it checks the last tile's worth of entries against each other, in O(tile), whatever the size of the book.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ledger.book.checkpoint import parse_checkpoint
from ledger.book.entry import check_links, entry_hash, read_entry
from ledger.book.frontier import Frontier
from ledger.book.instant import instant_ms
from ledger.book.merkle import EMPTY_ROOT
from ledger.book.tiles import TILE_WIDTH, root_from_tiles
from ledger.errors import LedgerError, StoreBehind, StoreDamaged
from ledger.store.archived_entries import filled
from ledger.store.head import Head
from ledger.store.restored import lost_heads
from ledger.store.tiles import Edge, StoredTiles, Tile, load_edge
from ledger.store.transaction import Transaction


@dataclass(slots=True)
class BookTail:
    """``head`` as stored, and the tree that it closes."""

    head: Head
    frontier: Frontier
    edge: Edge

    def append(self, hashes: Sequence[bytes]) -> tuple[Frontier, list[Tile]]:
        """Take leaf hashes into the edge; the frontier after them and the tiles to store."""
        return self.frontier.append(hashes), self.edge.append(hashes)


def load_tail(transaction: Transaction, head: Head) -> BookTail:
    """Read and check the end of the book. Raises StoreDamaged when its parts contradict each other."""
    first = max(0, head.size - TILE_WIDTH)
    before = transaction.row('SELECT "hash" FROM "entry" WHERE "index" = ?', (first - 1,)) if first else (EMPTY_ROOT,)
    _check_entries(transaction, head, first, before[0] if before else None)
    edge = load_edge(transaction, head.size)
    try:
        frontier = Frontier.from_bytes(head.frontier)
    except LedgerError as error:
        raise StoreDamaged("stored frontier cannot be read", where=f"head {head.size}") from error
    if frontier != edge.frontier():
        raise StoreDamaged("frontier and tiles give different trees", where=f"head {head.size}")
    return BookTail(head, frontier, edge)


def follow_tail(transaction: Transaction, tail: BookTail, head: Head) -> BookTail:
    """The tail after what another process entered since ``tail``, which is used up by this; or the loaded one.

    Reads and checks the new entries alone, and the tree is that of ``tail`` with them. Loads the end of the book where they
    are more than that is, or where they do not follow. Raises StoreDamaged.
    """
    if not 0 < head.size - tail.head.size <= TILE_WIDTH:
        return load_tail(transaction, head)
    try:
        hashes = _check_entries(transaction, head, tail.head.size, tail.head.last_hash)
    except StoreDamaged:
        return load_tail(transaction, head)
    frontier, _ = tail.append(hashes)
    if frontier.to_bytes() != head.frontier:
        return load_tail(transaction, head)
    return BookTail(head, frontier, tail.edge)


def _check_entries(transaction: Transaction, head: Head, first: int, before: bytes | None) -> list[bytes]:
    """The hashes of the entries from ``first`` to the head, which follow the one with the hash ``before``."""
    rows = transaction.rows(
        'SELECT "index", "hash", "bytes", "recorded_ms" FROM "entry" WHERE "index" >= ? ORDER BY "index"', (first,)
    )
    rows = filled(transaction, rows, raw=2)
    if [row[0] for row in rows] != list(range(first, head.size)) or before is None:
        raise StoreDamaged("entries and head disagree", expected=f"entries {first} to {head.size - 1}", got=len(rows))
    try:
        hashes = check_links(before, first, [row[2] for row in rows])
    except LedgerError as error:
        raise StoreDamaged("last entries do not follow each other", got=str(error)) from error
    if hashes != [row[1] for row in rows]:
        raise StoreDamaged("stored hash is not that of the entry", where=f"entries {first} to {head.size - 1}")
    if (hashes[-1] if hashes else EMPTY_ROOT) != head.last_hash:
        raise StoreDamaged("last hash of the head is not that of the last entry", where=f"head {head.size}")
    if rows and not rows[-1][3] == head.recorded_ms == instant_ms(read_entry(rows[-1][2]).recorded_at):
        raise StoreDamaged("head and last entry were recorded at different instants", where=f"head {head.size}")
    return hashes


def check_not_behind(transaction: Transaction, head: Head, origin: str, known: bytes | str) -> None:
    """Check that the store holds all that a checkpoint kept elsewhere says; the caller has checked its signature.

    A head that the book's entries give up, since it was restored to less, is passed over.
    Raises StoreBehind for an older store, StoreDamaged for one that went another way. O(log n).
    """
    checkpoint = parse_checkpoint(known)
    if checkpoint.origin != origin:
        raise StoreDamaged("known checkpoint is of another book", expected=origin, got=checkpoint.origin)
    if (checkpoint.tree_size, checkpoint.root_hash) in lost_heads(transaction):
        return
    if checkpoint.tree_size > head.size:
        raise StoreBehind(
            "store is older than a checkpoint known elsewhere",
            expected=f"at least {checkpoint.tree_size} entries",
            got=head.size,
            mend="restore a later backup; what was acknowledged after this one is missing",
        )
    if root_from_tiles(StoredTiles(transaction), checkpoint.tree_size) != checkpoint.root_hash:
        raise StoreDamaged(
            "store holds another history than a checkpoint known elsewhere", where=f"size {checkpoint.tree_size}"
        )


def check_tail_hashes(drafts: Sequence[tuple[bytes, bytes]]) -> list[bytes]:
    """The hashes of entries about to be stored, made anew from their bytes; raises StoreDamaged where one differs."""
    hashes = [entry_hash(raw) for raw, _ in drafts]
    if hashes != [digest for _, digest in drafts]:
        raise StoreDamaged("hash of a new entry changed in memory")
    return hashes
