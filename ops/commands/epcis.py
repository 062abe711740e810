"""`pourbook epcis`: the history of a ball or of a lot as EPCIS 2.0 events (JSON-LD), without the service.

For a customer's traceability system. Recipe quantities, suppliers and consignees are told only with ``--open withheld``;
people and notes are told nowhere. It reads only.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ledger.application.epcis import lot_events, serial_events
from ledger.errors import MalformedInput
from ledger.evidence.withholding import Withholding
from ledger.store.engine import open_store
from ledger.store.reader import open_reader


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what it is about, the store, and where addresses begin."""
    parser.add_argument("about", choices=("serial", "lot"), help="a ball by the number that it bears, or a lot")
    parser.add_argument("name", help="the number, or the lot's id")
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")
    parser.add_argument(
        "--stem", required=True, help="what addresses begin with, as on labels (POURBOOK_LABEL_STEM of the service)"
    )
    parser.add_argument("--out", type=Path, help="write to this file instead; an existing one is never written over")
    parser.add_argument(
        "--open", dest="opened", action="append", choices=["withheld"], default=[], help="tell what may be withheld too"
    )


def run(arguments: argparse.Namespace) -> int:
    """Print or write the document; 0, or an error of the tree in `ledger.errors`."""
    withholding = Withholding(opened=arguments.opened)
    store = open_store(arguments.store_url, migrate=False)
    try:
        with open_reader(store) as reader:
            question = serial_events if arguments.about == "serial" else lot_events
            document = question(reader, arguments.name, arguments.stem, withholding)
    finally:
        store.close()
    if arguments.out is None:
        sys.stdout.write(document.decode())
        return 0
    try:
        with arguments.out.open("xb") as file:
            file.write(document)
    except OSError as error:
        raise MalformedInput(f"file cannot be written: {error.strerror}", where=str(arguments.out)) from error
    print(f"events of {arguments.about} {arguments.name} in {arguments.out}")
    return 0
