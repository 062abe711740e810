"""`pourbook restore`: a book from a backup, in an empty store of either kind, checked under a key that you trust.

A backup is older than what came after it.  What others have seen of the book since is asked for: the checkpoint in the
second place (``--seen``), and the witnesses of a policy.  If the backup lacks anything of that, the restore is refused;
``--lose REASON`` says that it shall be done all the same: then the book itself says so in its next entry, for ever, with the
heads that no longer fit it, and the witnesses that signed those must be asked to begin anew with this book.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.application.backing_up import BookFile, check_book_file, heads_lost, restored_record
from ledger.application.pourbook import fresh_salts, wall_clock_ms
from ledger.application.proofs import check_key_term
from ledger.book.signing import Verifier
from ledger.duties.rechecks import DUTIES
from ledger.errors import StoreBehind
from ledger.line.submission import Submission
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.store.restored import note_restored
from ledger.store.writer import Writer
from ops.age_files import decrypt_file, read_identities
from ops.commands.verify_dossier import read_keys
from ops.filling import fill
from ops.heads_seen import add_seen_arguments, heads_seen
from ops.progress import showing
from ops.scratch import scratch_beside

if TYPE_CHECKING:
    from ledger.line.restorations import HeadSeen


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the backup, the key that opens it, the new store, and what others have seen."""
    parser.add_argument("file", type=Path, help="the backup")
    parser.add_argument("--identity", type=Path, required=True, help="file with the key that opens it (age format)")
    parser.add_argument("--to", dest="store_url", required=True, help="an empty store, as a URL")
    parser.add_argument("--key", required=True, help="verifier line of the checkpoint key, or a file that holds it")
    add_seen_arguments(parser)
    parser.add_argument(
        "--lose",
        metavar="REASON",
        help="restore although entries that others have seen are missing; REASON is a word that the book keeps",
    )


def run(arguments: argparse.Namespace) -> int:
    """Restore; 0, or an error of the tree in `ledger.errors`."""
    keys = read_keys(arguments.key)
    notes = heads_seen(arguments, keys, keys[0].name)
    with scratch_beside(arguments.file) as folder:
        plain = folder / "book.sqlite"
        decrypt_file(arguments.file, plain, read_identities(arguments.identity))
        with showing("checking entries") as progress:
            book = check_book_file(plain, keys, progress)
        lost = heads_lost(plain, book.origin, notes)
        _check_loss(book, lost, arguments.lose)
        _fill(plain, arguments.store_url, keys)
    print(f"restored: {book.origin}, {book.size:,} entries, root {book.root}")
    print(f"  held against {len(notes)} heads that others have seen")
    if lost:
        index = _say(arguments.store_url, book, lost, arguments.lose)
        print(f"  {lost[-1].size - book.size:,} entries that others have seen are lost; entry {index} says so")
        print("  each witness that signed a later head must be asked to begin anew with this book")
    return 0


def _check_loss(book: BookFile, lost: Sequence[HeadSeen], reason: str | None) -> None:
    if lost and reason is None:
        raise StoreBehind(
            "the backup is older than what others have seen of the book",
            expected=f"at least {lost[-1].size} entries",
            got=book.size,
            mend="restore a later backup; or say --lose REASON, and the book will tell that entries are lost",
        )


def _fill(plain: Path, url: str, keys: Sequence[Verifier]) -> None:
    source, target = open_store(f"sqlite:///{plain}", migrate=False), None
    try:
        target = open_store(url)
        fill(source, target)
        with open_reader(target) as reader:
            check_key_term(reader, keys[0].name, keys)
    finally:
        source.close()
        if target is not None:
            target.close()


def _say(url: str, book: BookFile, lost: Sequence[HeadSeen], reason: str) -> int:
    """Enter that entries are lost; the index of the entry. The settings of the service name its keys."""
    from api.settings import settings_from_environment  # noqa: PLC0415  # only here are keys needed
    from ops.commands.serve import signers_of  # noqa: PLC0415

    signers = signers_of(settings_from_environment())
    store = open_store(url)
    try:
        writer = Writer(
            store, origin=book.origin, signers=signers.checkpoints(), clock_ms=wall_clock_ms, salts=fresh_salts
        )
        writer.start()
        try:
            record = restored_record(book.size, lost, reason, wall_clock_ms())
            said = Submission(key=f"restored-{book.size}", records=(record,))
            index: int = writer.submit(said, DUTIES).result().index
        finally:
            writer.stop()
        with store.writing() as transaction:
            note_restored(transaction, index)
    finally:
        store.close()
    return index
