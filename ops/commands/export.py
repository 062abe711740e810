"""`pourbook export`: the dossier of a selection of balls as a file, without the service.

For an approval submission, a customer or an auditor; check it with `pourbook verify dossier`. What is withheld stays
provable. It needs the dossier key of the book, and reads only.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from api.settings import first_line
from ledger.application.dossiers import dossier_of
from ledger.errors import MalformedInput, NotFound
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.store.selections import select_balls
from ops.key_files import open_key_file
from ops.selection import add_selection, selection_of


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the file, the store, the key, what stays closed, and the selection."""
    parser.add_argument("file", type=Path, help="the dossier to write; an existing file is never written over")
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")
    parser.add_argument("--dossier-key", type=Path, required=True, help="file of the dossier key")
    parser.add_argument("--password-file", required=True, help="file whose first line is the key's password")
    parser.add_argument(
        "--open",
        dest="opened",
        action="append",
        choices=["withheld", "erasable"],
        default=[],
        help="open these sealed fields (recipe quantities, suppliers, consignees; people and notes)",
    )
    add_selection(parser)


def run(arguments: argparse.Namespace) -> int:
    """Write the dossier; 0, or an error of the tree in `ledger.errors`."""
    signer = open_key_file(arguments.dossier_key, first_line(arguments.password_file))
    store = open_store(arguments.store_url, migrate=False)
    try:
        with open_reader(store) as reader:
            units = [one.unit.unit for one in select_balls(reader.transaction, selection_of(arguments))]
            note = reader.head().checkpoint
            if not units or note is None:
                raise NotFound("no ball is selected", mend="widen the selection")
            withhold = {"withheld", "erasable"} - set(arguments.opened)
            with arguments.file.open("xb") as out:
                dossier_of(reader, units, out, note=note, signer=signer, withhold=withhold)
    except OSError as error:
        raise MalformedInput(f"file cannot be written: {error.strerror}", where=str(arguments.file)) from error
    finally:
        store.close()
    print(f"dossier of {len(units)} balls in {arguments.file}")
    return 0
