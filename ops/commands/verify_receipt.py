"""`pourbook verify receipt RECEIPT ENTRY --key KEY`: check that an entry stands in a book, with no service and no network.

RECEIPT is the text that a page or ``GET /receipts/{index}`` gives, ENTRY the entry as hashed (``GET /entries/{index}/bytes``).
KEY is the verifier line of the book's checkpoint key, or a file that holds such lines; get it from elsewhere than from the
page. With ``--policy`` the checkpoint must have the quorum of witnesses that the file asks for (C2SP tlog-policy), which a
receipt against a published checkpoint has (``?published=true``); a policy with ``log`` lines needs no KEY besides.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from ledger.book.policy import check_quorum
from ledger.book.receipt import check_receipt
from ledger.book.signing import NOTE_KEY
from ledger.errors import MalformedKey, MalformedReceipt
from ops.commands.verify_dossier import read_keys, read_policy


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the two files and the keys that the reader trusts."""
    parser.add_argument("receipt", type=Path, help="the receipt")
    parser.add_argument("entry", type=Path, help="the entry, to the byte")
    parser.add_argument(
        "--key",
        action="append",
        default=[],
        help="verifier line of the book's checkpoint key, or a file of such lines; may be given again, for witnesses",
    )
    parser.add_argument(
        "--policy", type=Path, help="file of whose cosignatures are wanted (C2SP tlog-policy); may name the key too"
    )


def run(arguments: argparse.Namespace) -> int:
    """Print what was checked; 0, or the first thing that is wrong as an error of the tree in `ledger.errors`."""
    policy = None if arguments.policy is None else read_policy(arguments.policy)
    keys = [key for text in arguments.key for key in read_keys(text)]
    if policy is not None:
        keys = list(dict.fromkeys([*keys, *policy.verifiers()]))
    if not any(key.kind == NOTE_KEY for key in keys):
        raise MalformedKey("no key is given", where="--key", mend="give the book's verifier line, or a policy with it")
    try:
        receipt, entry = arguments.receipt.read_bytes(), arguments.entry.read_bytes()
    except OSError as error:
        raise MalformedReceipt("file cannot be read", got=error.filename, mend="check the path") from error
    found = check_receipt(receipt, entry, keys)
    quorum = None if policy is None else check_quorum(found.checkpoint, policy)
    witnesses = len(found.checkpoint.cosignatures)
    print(
        f"entry {found.index} stands in the book {found.checkpoint.origin}, among {found.checkpoint.tree_size} entries"
    )
    print(f"  entry: its hash is {found.entry_hash.hex()}")
    print("  proof: leads from it to the root of the checkpoint")
    print(f"  checkpoint: signed by the key given, and by {witnesses} of the witnesses given")
    if quorum is not None:
        print(f"  witnesses: {', '.join(quorum.witnessed) or 'none'} signed it; the policy asks for {quorum.asks}")
    unseen = "; whether others were shown another head of this book" if not witnesses else ""
    print(f"not checked: whether what was written down is true{unseen}")
    return 0
