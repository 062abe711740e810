"""`pourbook rebuild`: make every view of a store anew from its entries, beside the standing ones, and swap.

No check is run again and no entry is touched. The service may keep running on another process's views meanwhile.
"""

from __future__ import annotations

import argparse

from ledger.store.engine import open_store
from ledger.store.rebuild import rebuild_views


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the store."""
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")


def run(arguments: argparse.Namespace) -> int:
    """Rebuild; 0, or an error of the tree in `ledger.errors`."""
    store = open_store(arguments.store_url)
    try:
        entries = rebuild_views(store)
    finally:
        store.close()
    print(f"views made anew from {entries} entries")
    return 0
