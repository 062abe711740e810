"""How the book stands: its size, its newest and its published checkpoint, who cosigned, its keys, and the last check."""

from __future__ import annotations

import msgspec

from ledger.application.book_checks import BookCheck, kept_checks
from ledger.application.last_backup import LastBackup, last_backup
from ledger.application.pourbook import Pourbook
from ledger.application.witnessing import Witnessing, witnessing
from ledger.book.checkpoint import check_checkpoint
from ledger.book.signing import parse_verifier
from ledger.line.rows import BookKey
from ledger.store.cosignatures import last_cosigned_size, read_cosignatures
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.selections import every_row


class KeySeen(msgspec.Struct, frozen=True, kw_only=True):
    """A key of the book. It speaks for trees of ``from_size`` to ``to_size`` entries, both included; None: without end.

    ``key_id`` is its C2SP key id, 8 hex digits; ``verifier`` the line by which others check it.
    """

    name: str
    key_id: str
    purpose: str
    verifier: str
    from_size: int
    to_size: int | None


class Signed(msgspec.Struct, frozen=True, kw_only=True):
    """The newest checkpoint: ``size`` entries, ``root`` in hex, the ids of the book's keys that signed it, its text."""

    size: int
    root: str
    key_ids: tuple[str, ...]
    text: str


class Cosigned(msgspec.Struct, frozen=True, kw_only=True):
    """A witness that signed a checkpoint of ``size`` entries too, the largest that any witness signed."""

    witness: str
    size: int
    received_ms: int


class BookStanding(msgspec.Struct, frozen=True, kw_only=True):
    """How the book stands at an instant. ``last_check`` is the last that came to an end, right or not."""

    at_ms: int
    origin: str
    entries: int
    recorded_ms: int
    signed: Signed | None
    cosigned: tuple[Cosigned, ...]
    keys: tuple[KeySeen, ...]
    last_check: BookCheck | None
    checks: tuple[BookCheck, ...]
    witnessing: Witnessing
    backup: LastBackup | None


def book_standing(book: Pourbook) -> BookStanding:
    """How a book stands now. A few rows, whatever its size."""
    note = book.checkpoint()
    with open_reader(book.store) as reader:
        head = reader.head()
        keys = tuple(
            sorted(map(_key, every_row(reader.transaction, BookKey)), key=lambda key: (key.from_size, key.name))
        )
    checks = kept_checks(book.store)
    return BookStanding(
        at_ms=book.clock_ms(),
        origin=book.origin,
        entries=head.size,
        recorded_ms=head.recorded_ms,
        signed=_signed(book, note) if note else None,
        cosigned=_cosigned(book.store),
        keys=keys,
        last_check=next((check for check in checks if not check.unfinished), None),
        checks=tuple(checks),
        witnessing=witnessing(book),
        backup=last_backup(book.store),
    )


def checkpoint_size(book: Pourbook, note: bytes) -> int:
    """The entries that a checkpoint kept elsewhere states. Raises SignatureRejected, MalformedInput for another's."""
    return check_checkpoint(note, book.checkpoint_keys(), book.origin).tree_size


def _signed(book: Pourbook, note: bytes) -> Signed:
    checkpoint = check_checkpoint(note, book.checkpoint_keys(), book.origin)
    ids = tuple(line.verifier.key_id.hex() for line in checkpoint.log_signatures)
    return Signed(size=checkpoint.tree_size, root=checkpoint.root_hash.hex(), key_ids=ids, text=note.decode())


def _cosigned(store: Store) -> tuple[Cosigned, ...]:
    size = last_cosigned_size(store)
    if not size:
        return ()
    return tuple(
        Cosigned(witness=one.witness, size=one.size, received_ms=one.received_ms)
        for one in read_cosignatures(store, size)
    )


def _key(row: BookKey) -> KeySeen:
    return KeySeen(
        name=row.key_name,
        key_id=parse_verifier(row.verifier).key_id.hex(),
        purpose=row.purpose,
        verifier=row.verifier,
        from_size=row.from_size,
        to_size=row.to_size,
    )
