"""`pourbook backup`: the whole book in one encrypted file, while the service runs.

One look at the store is copied, every entry checked on its way; the copy is checked as a whole, then encrypted to the
public keys given (age format), read back from the disk and compared.  The clear copy lies beside FILE meanwhile, readable
by its owner alone, and is deleted.  Private keys are not in it: keep the service's key files and the key that opens
backups by themselves, in another place.
"""

from __future__ import annotations

import argparse
import os
from datetime import UTC, datetime
from pathlib import Path

from ledger.application.backing_up import write_book_file
from ledger.application.last_backup import note_backup
from ledger.application.pourbook import wall_clock_ms
from ledger.errors import MalformedInput
from ledger.store.engine import open_store
from ops.age_files import encrypt_file, parse_recipient
from ops.progress import showing
from ops.scratch import scratch_beside


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the store, the file and whom it is for."""
    parser.add_argument("file", type=Path, help="the new file; {date} stands for the day and time in UTC")
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")
    parser.add_argument(
        "--recipient",
        action="append",
        required=True,
        help="public key that it is encrypted to (age1...; `pourbook keys new-backup` makes one); may be given again",
    )


def run(arguments: argparse.Namespace) -> int:
    """Back the book up; 0, or an error of the tree in `ledger.errors`."""
    recipients = [parse_recipient(text) for text in arguments.recipient]
    file = Path(str(arguments.file).replace("{date}", f"{datetime.now(UTC):%Y-%m-%dT%H%M%SZ}"))
    if os.path.lexists(file):
        raise MalformedInput("the file is there already", where=str(file), mend="name a new one, with {date} perhaps")
    store = open_store(arguments.store_url, migrate=False)
    try:
        with scratch_beside(file) as folder:
            with showing("copying entries") as progress:
                book = write_book_file(store, folder / "book.sqlite", progress)
            written = encrypt_file(folder / "book.sqlite", file, recipients)
        note_backup(store, book.size, wall_clock_ms())
    finally:
        store.close()
    print(f"backed up: {book.origin}, {book.size:,} entries, root {book.root}")
    print(f"  {file}: {written.size:,} bytes, SHA-256 {written.digest}")
    print("  checked as a whole before it was encrypted, and read back from the disk afterwards")
    print("  not in it: private keys; keep those, and the key that opens this file, in other places")
    return 0
