"""`pourbook copy`: a whole book in another store, checked entry by entry; head and proofs stay the same.

Run it again if it was stopped: it goes on where it was.  Without ``--move`` the old store stays open to writers, and what
is entered there later is not in the copy: such a copy is for reading and for trials.  With ``--move`` the old store takes
no entries from the moment at which its last ones were read, and the service is started with the new address.
"""

from __future__ import annotations

import argparse

from ledger.store.engine import open_store
from ops.filling import fill


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare both stores."""
    parser.add_argument("--from", dest="source", required=True, help="where the book is, as a URL")
    parser.add_argument("--to", dest="target", required=True, help="an empty store, or an unfinished copy, as a URL")
    parser.add_argument(
        "--move", action="store_true", help="close the old store to writers, so that the book goes on in the new one"
    )


def run(arguments: argparse.Namespace) -> int:
    """Copy, make the views anew, compare the heads; 0, or an error of the tree in `ledger.errors`."""
    source = open_store(arguments.source, migrate=False)
    try:
        source.check_schema()
        target = open_store(arguments.target)
        try:
            copied = fill(source, target, move=arguments.move)
        finally:
            target.close()
    finally:
        source.close()
    before = copied.size - copied.fresh
    said = f" ({before:,} of them by an earlier run)" if before else ""
    print(f"copied: {copied.size:,} entries{said}, each checked and read back")
    print(f"  root of the tree, as before: {copied.root.hex()}")
    if arguments.move:
        print("  the old store takes no entries any more: start the service with the new address")
    else:
        print("  the old store is still open: what is entered there from now on is not in this copy")
    return 0
