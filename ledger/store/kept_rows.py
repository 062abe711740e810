"""Rows that the store keeps beside the entries and that follow from them: hash tiles, used keys, recorded instants.

A check of the whole book makes them again from entries that it has proved already, and compares. Higher tiles cost
nothing to speak of: the hashes of a level, taken as leaves, have the same large subtrees as the whole tree.
"""

from __future__ import annotations

from collections.abc import Sequence

from ledger.book.frontier import Frontier
from ledger.book.instant import instant_ms
from ledger.book.merkle import HASH_BYTES
from ledger.book.tiles import TILE_HEIGHT, TILE_WIDTH
from ledger.errors import RootMismatch, StoreDamaged
from ledger.store.outlines import Outline
from ledger.store.tiles import FULL, split_hashes
from ledger.store.transaction import Transaction

_OUTSIDE = 'SELECT (SELECT COUNT(*) FROM "entry" WHERE "index" < 0) + (SELECT COUNT(*) FROM "entry" WHERE "index" >= ?)'


class TileCheck:
    """Compares stored tiles with the hashes of proved entries, which are appended in order from entry 0 on."""

    def __init__(self, transaction: Transaction) -> None:
        """Nothing is compared yet."""
        self._transaction = transaction
        self._pending = b""
        self._number = 0

    def append(self, hashes: Sequence[bytes]) -> None:
        """Compare the leaf tiles that these hashes complete. Raises RootMismatch. One query."""
        self._pending += b"".join(hashes)
        full = len(self._pending) // FULL
        if not full:
            return
        rows = self._transaction.rows(
            'SELECT "number", "width", "hashes" FROM "tile" WHERE "level" = 0 AND "number" >= ? AND "number" < ?',
            (self._number, self._number + full),
        )
        stored = {number: (width, kept) for number, width, kept in rows}
        for place in range(full):
            made = self._pending[place * FULL : (place + 1) * FULL]
            _compare(0, self._number, stored.get(self._number), (TILE_WIDTH, made))
            self._number += 1
        self._pending = self._pending[full * FULL :]

    def finish(self, frontier: Frontier) -> None:
        """Compare the tiles above the leaves with the frontier of all entries. Raises RootMismatch."""
        expected = self._number
        level, count = 1, frontier.size >> TILE_HEIGHT
        while count:
            expected += self._check_level(level, count, frontier)
            level, count = level + 1, count >> TILE_HEIGHT
        found = self._transaction.row('SELECT COUNT(*) FROM "tile"')
        if found != (expected,):
            raise RootMismatch("the store has other tiles than the tree", expected=expected, got=found and found[0])

    def _check_level(self, level: int, count: int, frontier: Frontier) -> int:
        rows = self._transaction.rows(
            'SELECT "number", "width", "hashes" FROM "tile" WHERE "level" = ? ORDER BY "number"', (level,)
        )
        widths = [TILE_WIDTH] * (count // TILE_WIDTH) + ([count % TILE_WIDTH] if count % TILE_WIDTH else [])
        shape = [(number, width, width * HASH_BYTES) for number, width in enumerate(widths)]
        if [(number, width, len(kept)) for number, width, kept in rows] != shape:
            raise RootMismatch("hash tiles have another shape than the tree", where=f"tile level {level}")
        kept = Frontier().append([digest for _, _, kept in rows for digest in split_hashes(kept)])
        if kept.roots != frontier.roots[: len(kept.roots)]:
            raise RootMismatch("hash tiles give another tree than the entries", where=f"tile level {level}")
        return len(shape)


def _compare(level: int, number: int, stored: tuple[int, bytes] | None, made: tuple[int, bytes]) -> None:
    if stored != made:
        raise RootMismatch("hash tile is not that of the entries", where=f"tile level {level}, number {number}")


def check_told(transaction: Transaction, outlines: Sequence[Outline], recorded_ms: Sequence[int]) -> None:
    """Compare used keys and recorded instants with what proved entries say of themselves. Raises StoreDamaged.

    The digest of a request is not among it: it was made from the request before it was sealed.
    """
    condition = transaction.dialect.any_of('"key"')
    rows = transaction.rows_of(
        f'SELECT "key", "author", "index" FROM "request" WHERE {condition}', list({told.said.key for told in outlines})
    )
    used = {(key, author): index for key, author, index in rows}
    for told, kept_ms in zip(outlines, recorded_ms, strict=True):
        if kept_ms != instant_ms(told.recorded_at):
            raise StoreDamaged("instant beside the entry is not its own", where=f"entry {told.index}")
        if used.get((told.said.key, told.author)) != told.index:
            raise StoreDamaged("used key does not lead to its entry", where=f"entry {told.index}")


def check_no_others(transaction: Transaction, *, entries: int, openings: int) -> None:
    """Check that there are no more entries, used keys and openings than were looked at. Raises StoreDamaged."""
    # Each of ``entries`` was read by its index: to count them all would read the whole table once more.
    outside = transaction.row(_OUTSIDE, (entries,))
    if outside != (0,):
        raise StoreDamaged("rows that no entry gives", expected=0, got=outside and outside[0], where="entry")
    for table, expected in (("request", entries), ("opening", openings)):
        found = transaction.row(f'SELECT COUNT(*) FROM "{table}"')
        if found != (expected,):
            raise StoreDamaged("rows that no entry gives", expected=expected, got=found and found[0], where=table)
