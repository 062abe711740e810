"""What somebody could do who holds the database and the book's own key: change one reading, and make all that follows fit.

Done to a copy of an SQLite store, with nothing but SQL and the key: triggers dropped, the entry rewritten, every later
``prev`` and hash made anew, tiles and head with them, a new checkpoint signed, published heads of later sizes thrown away.
Such a book passes every check that trusts its key alone. The demo and the tests show what still finds it: a witness, a
time stamp, a mirror, anyone who kept an earlier receipt.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any, NamedTuple

from ledger.book.canonical import decode, encode
from ledger.book.checkpoint import sign_checkpoint
from ledger.book.entry import GENESIS_HASH, entry_hash
from ledger.book.signing import Signer
from ledger.errors import Contradiction
from ledger.store.tiles import Edge


class Digit(NamedTuple):
    """Which digit is changed: of the first reading of a quantity, the place in its first value, and what it becomes."""

    quantity: str
    place: int
    to: str


class Forged(NamedTuple):
    """What was done: the entry, the value before and after, how many entries were made anew, and the new head."""

    entry: int
    before: str
    after: str
    rewritten: int
    checkpoint: bytes


def change_digit(raw: bytes, digit: Digit) -> tuple[bytes, str, str]:
    """An entry with one digit of one reading changed: its bytes, the value before, the value after. Raises Contradiction."""
    fields: Any = decode(raw)
    for record in fields["said"]["records"]:
        for reading in record.get("readings", ()):
            if reading["quantity"] == digit.quantity:
                before = reading["values"][0]
                after = before[: digit.place] + digit.to + before[digit.place + 1 :]
                reading["values"][0] = after
                return encode(fields), before, after
    raise Contradiction(f"entry holds no reading of {digit.quantity}")


def forge(file: Path, index: int, digit: Digit, signer: Signer) -> Forged:
    """Change the reading of entry ``index`` in the store at ``file`` and make the rest of the book fit it.

    The views are as they were: rebuild them, as the holder of the database would. Raises Contradiction for an entry
    without a reading.
    """
    with closing(sqlite3.connect(file)) as store:
        _drop_triggers(store)
        rows = store.execute('SELECT "index", "bytes" FROM "entry" ORDER BY "index"').fetchall()
        changed, before, after = change_digit(rows[index][1], digit)
        origin = _fields(changed)["book"]
        raws = [raw for _, raw in rows]
        raws[index:] = _chained(_hash_before(raws, index), [changed, *raws[index + 1 :]])
        hashes = [entry_hash(raw) for raw in raws]
        store.executemany(
            'UPDATE "entry" SET "bytes" = ?, "hash" = ? WHERE "index" = ?',
            [(raws[at], hashes[at], at) for at in range(index, len(raws))],
        )
        edge = Edge()
        tiles = edge.append(hashes)
        store.execute('DELETE FROM "tile"')
        store.executemany(
            'INSERT OR REPLACE INTO "tile" ("level", "number", "width", "hashes") VALUES (?, ?, ?, ?)', tiles
        )
        frontier = edge.frontier()
        note = sign_checkpoint(str(origin), frontier.size, frontier.root(), [signer])
        store.execute(
            'UPDATE "head" SET "last_hash" = ?, "frontier" = ?, "checkpoint" = ?',
            (hashes[-1], frontier.to_bytes(), note),
        )
        for table in ("published", "time_token", "cosignature"):
            store.execute(f'DELETE FROM "{table}" WHERE "size" > ?', (index,))  # noqa: S608  # names of our own tables
        store.commit()
    return Forged(index, before, after, len(raws) - index, note)


def _drop_triggers(store: sqlite3.Connection) -> None:
    for (name,) in store.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        store.execute(f'DROP TRIGGER "{name}"')


def _hash_before(raws: list[bytes], index: int) -> bytes:
    return entry_hash(raws[index - 1]) if index else GENESIS_HASH


def _chained(previous: bytes, raws: list[bytes]) -> list[bytes]:
    """The same entries, each with the hash of the one before it as it is now."""
    chained = []
    for raw in raws:
        made = encode({**_fields(raw), "prev": previous.hex()})
        chained.append(made)
        previous = entry_hash(made)
    return chained


def _fields(raw: bytes) -> dict[str, object]:
    fields = decode(raw)
    if not isinstance(fields, dict):
        raise Contradiction("entry is no object")
    return fields
