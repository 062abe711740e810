"""`pourbook grant`: let another database role serve the book, with no right to change or delete what was entered.

To be run as the owner of the tables, once, and again after a release that adds tables.  The role is made before, by whoever
keeps the database: CREATE ROLE ... LOGIN.  Afterwards the service's address names that role; `pourbook rebuild` and new
releases need the owner's.
"""

from __future__ import annotations

import argparse

from ledger.store.engine import open_store
from ledger.store.service_role import grant_service, grant_statements


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the store and the role."""
    parser.add_argument("role", help="the role that the service signs in as")
    parser.add_argument("--store", dest="store_url", help="where the book is, as a URL with its owner's name")
    parser.add_argument("--print", dest="print_only", action="store_true", help="print the statements, and run none")


def run(arguments: argparse.Namespace) -> int:
    """Grant, or print; 0, or an error of the tree in `ledger.errors`."""
    if arguments.print_only or not arguments.store_url:
        print(";\n".join(grant_statements(arguments.role)) + ";")
        return 0
    store = open_store(arguments.store_url)
    try:
        grant_service(store, arguments.role)
    finally:
        store.close()
    print(f"{arguments.role} may serve this book: add entries, and change or delete none")
    return 0
