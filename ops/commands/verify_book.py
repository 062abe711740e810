"""`pourbook verify book`: check a whole book in its store: chain, tree, openings, checkpoint, the files of claims, and the views.

It reads only. KEY is the verifier line of the book's checkpoint key, or a file that holds such lines (while a key is
rotated there are two); get it from elsewhere than from the store.
"""

from __future__ import annotations

import argparse

from ledger.application.files_check import check_files
from ledger.application.proofs import check_book
from ledger.store.engine import open_store
from ops.commands.verify_dossier import read_keys
from ops.progress import Progress


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the store and the key that the reader trusts."""
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")
    parser.add_argument("--key", required=True, help="verifier line of the checkpoint key, or a file that holds it")
    parser.add_argument("--without-views", action="store_true", help="leave out the comparison of the views")


def run(arguments: argparse.Namespace) -> int:
    """Print what was checked; 0, or the first thing that is wrong as an error of the tree in `ledger.errors`."""
    keys = read_keys(arguments.key)
    origin = keys[0].name
    store = open_store(arguments.store_url, migrate=False)
    progress = Progress("checking entries")
    try:
        report = check_book(store, origin, keys, views=not arguments.without_views, progress=progress)
        files = check_files(store)
    finally:
        progress.end()
        store.close()
    print(f"nothing is wrong with the book {origin}: {report.entries} entries")
    print(f"  chain and tree: every entry follows the one before, root {report.root}")
    print(f"  sealed fields: {report.openings} openings match what was sealed")
    print(
        f"  files of claims: {files.named} named, {files.named - files.erased} kept as they came, {files.erased} erased"
    )
    print(f"  checkpoint: signed by the key given, at {report.checkpoint_size} entries")
    print("  views: what the entries give" if report.views_compared else "  views: not compared")
    print("not checked: whether what was written down is true; whether others were shown another head of this book")
    return 0
