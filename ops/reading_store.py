"""The option by which a command names the store that it reads, and reading from it."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager

from ledger.store.engine import open_store
from ledger.store.reader import Reader, open_reader


def add_store(parser: argparse.ArgumentParser) -> None:
    """Declare the store."""
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")


@contextmanager
def reading_store(arguments: argparse.Namespace) -> Iterator[Reader]:
    """One look at the store that was named; it is closed afterwards."""
    store = open_store(arguments.store_url, migrate=False)
    try:
        with open_reader(store) as reader:
            yield reader
    finally:
        store.close()
