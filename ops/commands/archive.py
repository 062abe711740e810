"""`pourbook archive`: the book up to its newest published checkpoint in a folder on object storage, as a static log, and
the bytes of whole ranges below it out of the database (PostgreSQL).

Run it as the owner of the tables, again and again: it writes what the folder lacks, reads each object back, compares it
with the stored hashes, and takes nothing out before all of it stands there. Where it was stopped it goes on. Services that
run go on; they need the extra `archive` and the same credentials to read, by the environment of the library obstore
(AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY, AWS_REGION, AWS_ENDPOINT_URL and the like).

The folder is from then on a part of the book: keep versions of it or a second copy, and show it to nobody who may not read
the entries. What is sealed in an entry is not in it: values stay in the database, and are erased there.
"""

from __future__ import annotations

import argparse

from ledger.store.archiving import PATIENCE_S, archive_book
from ledger.store.engine import open_store
from ops.progress import showing


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the store and the folder."""
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")
    parser.add_argument(
        "--to",
        required=True,
        help="a folder: s3://bucket/folder, gs://, az:// or file:///folder; another than before gets all",
    )
    parser.add_argument(
        "--wait",
        type=float,
        default=PATIENCE_S,
        metavar="SECONDS",
        help=f"how long a range waits for long reads to end before its bytes are taken out (default {PATIENCE_S:g})",
    )


def run(arguments: argparse.Namespace) -> int:
    """Archive; 0, or an error of the tree in `ledger.errors`."""
    store = open_store(arguments.store_url)
    try:
        with showing("writing entries to the archive") as progress:
            done = archive_book(store, arguments.to, patience_s=arguments.wait, progress=progress)
    finally:
        store.close()
    sort = "published checkpoint" if done.published else "signed head, since no checkpoint is published"
    print(f"archived: {done.size:,} entries, up to the newest {sort}; each object read back and compared")
    if done.stop > done.before:
        print(f"  taken out of the database: the bytes of entries {done.before:,} to {done.stop - 1:,}")
    else:
        print("  taken out of the database: nothing, since no further range is closed")
    print(f"  the bytes of {done.stop:,} entries lie in the archive alone: keep a second copy of it")
    return 0
