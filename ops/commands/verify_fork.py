"""`pourbook verify fork FOLDER --key KEY`: check that a folder shows two heads of one book that cannot both be true.

FOLDER is the ``fork`` folder of a mirror. KEY is the verifier line of the book's checkpoint key, or a file that holds such
lines; get it from elsewhere than from whoever hands the folder over.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from ledger.book.note import MAX_NOTE_BYTES
from ledger.errors import MalformedProof
from ledger.evidence.fork import KEPT, PROOF, SHOWN, check_fork, parse_fork
from ops.commands.verify_dossier import read_keys


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the folder and the keys that the reader trusts."""
    parser.add_argument("folder", type=Path, help="folder with the files kept and shown, and proof where sizes differ")
    parser.add_argument(
        "--key",
        action="append",
        required=True,
        help="verifier line of the book's checkpoint key, or a file of such lines; may be given again, for witnesses",
    )


def run(arguments: argparse.Namespace) -> int:
    """Print what it shows; 0 where it is a fork, or an error of the tree in `ledger.errors` where it is none."""
    keys = [key for text in arguments.key for key in read_keys(text)]
    files = {
        name: _read(arguments.folder / name) for name in (KEPT, SHOWN, PROOF) if (arguments.folder / name).exists()
    }
    fork = check_fork(parse_fork(files), keys)
    print("\n".join(fork.lines()))
    for name, head in (("kept", fork.kept), ("shown", fork.shown)):
        witnesses = ", ".join(line.verifier.name for line in head.cosignatures)
        print(f"  {name} is cosigned by {witnesses or 'none of the witnesses given'}")
    return 0


def _read(file: Path) -> bytes:
    try:
        with file.open("rb") as opened:
            raw = opened.read(MAX_NOTE_BYTES + 1)
    except OSError as error:
        raise MalformedProof(f"file cannot be read: {error.strerror}", where=str(file)) from error
    if len(raw) > MAX_NOTE_BYTES:
        raise MalformedProof("file is too long", expected=f"at most {MAX_NOTE_BYTES} bytes", where=str(file))
    return raw
