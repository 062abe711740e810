"""`pourbook verify receipt RECEIPT ENTRY --key KEY`: check that an entry stands in a book, with no service and no network.

RECEIPT is the text that a page or ``GET /receipts/{index}`` gives, ENTRY the entry as hashed (``GET /entries/{index}/bytes``).
KEY is the verifier line of the book's checkpoint key, or a file that holds such lines; get it from elsewhere than from the
page.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from ledger.book.receipt import check_receipt
from ledger.errors import MalformedReceipt
from ops.commands.verify_dossier import read_keys


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the two files and the keys that the reader trusts."""
    parser.add_argument("receipt", type=Path, help="the receipt")
    parser.add_argument("entry", type=Path, help="the entry, to the byte")
    parser.add_argument(
        "--key",
        action="append",
        required=True,
        help="verifier line of the book's checkpoint key, or a file of such lines; may be given again, for witnesses",
    )


def run(arguments: argparse.Namespace) -> int:
    """Print what was checked; 0, or the first thing that is wrong as an error of the tree in `ledger.errors`."""
    keys = [key for text in arguments.key for key in read_keys(text)]
    try:
        receipt, entry = arguments.receipt.read_bytes(), arguments.entry.read_bytes()
    except OSError as error:
        raise MalformedReceipt("file cannot be read", got=error.filename, mend="check the path") from error
    found = check_receipt(receipt, entry, keys)
    witnesses = len(found.checkpoint.cosignatures)
    print(
        f"entry {found.index} stands in the book {found.checkpoint.origin}, among {found.checkpoint.tree_size} entries"
    )
    print(f"  entry: its hash is {found.entry_hash.hex()}")
    print("  proof: leads from it to the root of the checkpoint")
    print(f"  checkpoint: signed by the key given, and by {witnesses} of the witnesses given")
    print("not checked: whether what was written down is true; whether others were shown another head of this book")
    return 0
