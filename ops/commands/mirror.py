"""`pourbook mirror FOLDER --from URL --key KEY`: follow a book from outside, and keep the evidence if it is ever forked.

It reads the checkpoint and the hashes that it lacks, makes the tree itself, and says whether the book only added since
the last look. With ``--every SECONDS`` it goes on looking; without, it looks once. With ``--entries`` it keeps the entries
too, for which the book wants a bearer token (a file that holds it: ``--token-file``). ``--against URL`` holds the head that
somebody else was shown (a witness, another mirror, another reader's address) against the one kept here.

FOLDER is the mirror's own, on a machine of its own: a mirror beside the book would be rolled back with it.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from api.settings import first_line
from ledger.book.note import MAX_NOTE_BYTES
from ledger.errors import LedgerError, StoreError
from ledger.evidence.mirror import Followed, Mirror
from ledger.evidence.mirror_folder import MirrorFolder
from ops.commands.verify_dossier import read_keys
from ops.progress import Progress
from ops.reading import Address


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the folder, the book's address and the keys that the reader trusts."""
    parser.add_argument("folder", type=Path, help="the mirror's own folder; made if there is none")
    parser.add_argument(
        "--from", dest="url", help="address of the book's service; without it the folder is checked alone"
    )
    parser.add_argument(
        "--key",
        action="append",
        required=True,
        help="verifier line of the book's checkpoint key, or a file of such lines; may be given again, for witnesses",
    )
    parser.add_argument("--every", type=float, metavar="SECONDS", help="look again and again, until stopped")
    parser.add_argument("--entries", action="store_true", help="keep the entries themselves too")
    parser.add_argument("--token-file", help="file with a bearer token, for --entries")
    parser.add_argument(
        "--against", action="append", default=[], metavar="URL", help="address of a checkpoint that others are shown"
    )


def run(arguments: argparse.Namespace) -> int:
    """Print what was found; 0, or 1 with the first thing that is wrong. A book that does not answer is asked again."""
    keys = [key for text in arguments.key for key in read_keys(text)]
    folder = MirrorFolder(arguments.folder)
    if arguments.url is None:
        head = Mirror(folder, keys, _nothing).check()
        print(f"{head.origin}: the kept hashes give the root of the kept head, {head.tree_size:,} entries")
        return 0
    token = first_line(arguments.token_file) if arguments.token_file else ""
    mirror = Mirror(folder, keys, Address(arguments.url, token).read, entries=arguments.entries)
    while True:
        try:
            _look(mirror, arguments.against)
        except StoreError as error:
            if arguments.every is None:
                raise
            print(f"not reached, asked again in {arguments.every:g} s: {error}", flush=True)
        if arguments.every is None:
            return 0
        time.sleep(arguments.every)


def _look(mirror: Mirror, against: list[str]) -> None:
    progress = Progress("hashes followed")
    try:
        found = mirror.follow(progress)
    finally:
        progress.end()
    print("\n".join(_lines(found)), flush=True)
    for url in against:
        where, _, path = url.rpartition("/")
        try:
            note = Address(where).read(path, MAX_NOTE_BYTES)
        except LedgerError as error:
            print(f"  {url}: not compared, {error}", flush=True)
            continue
        head = mirror.compare(note)
        print(f"  {url}: shows the same book, {head.tree_size:,} entries", flush=True)


def _lines(found: Followed) -> list[str]:
    head = found.head
    if found.shown_size < head.tree_size:
        told = f"an older head of the same book was shown ({found.shown_size:,} entries): a stale answer, or a book set back"
    elif found.before == head.tree_size:
        told = "nothing new"
    elif found.before == 0:
        told = "followed from the beginning"
    else:
        told = f"{head.tree_size - found.before:,} entries were added, and nothing before them was changed"
    witnesses = ", ".join(line.verifier.name for line in head.cosignatures) or "none of the witnesses given"
    return [f"{head.origin}: {head.tree_size:,} entries; {told}", f"  cosigned by: {witnesses}"]


def _nothing(path: str, _limit: int) -> bytes:
    raise StoreError("no address was given", where=path, mend="give --from")
