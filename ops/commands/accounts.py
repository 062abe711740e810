"""`pourbook accounts`: who has an account, a password for one, a code for a device; for the machine that holds the store.

The keeper that `pourbook begin` made has a token and no password: `password` gives the first one, after which everybody
else can be let in by the page of people.  A password is typed, or read from the first line of a file; it is never an
argument, since other users of a machine can see those.
"""

from __future__ import annotations

import argparse
import getpass
import sys

from api.settings import first_line
from ledger.application.devices import STAGES, enrol_device
from ledger.application.people import people_named
from ledger.application.pourbook import wall_clock_ms
from ledger.application.sign_in import set_password
from ledger.errors import MalformedInput, NotFound
from ledger.store.accounts import Account, list_accounts
from ledger.store.engine import Store, open_store


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the three actions and what each takes."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="list|password|enrol")
    _with_store(actions.add_parser("list", help="every account in use, with its roles"))
    password = actions.add_parser("password", help="give an account a password; its sessions end")
    password.add_argument("account", help="the account's name, or its id")
    password.add_argument("--password-file", help="read the password from this file's first line")
    password.add_argument(
        "--must-change", action="store_true", help="it is good for choosing another one at the first sign-in alone"
    )
    _with_store(password)
    enrol = actions.add_parser("enrol", help="show a code that enrols a device for an account, within 10 minutes")
    enrol.add_argument("account", help="the name or id of the account that the device stands for")
    enrol.add_argument("--device", required=True, help="what people call the device")
    enrol.add_argument("--stage", choices=STAGES, help="the station where it stands")
    _with_store(enrol)


def _with_store(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--store", dest="store_url", required=True, help="where the book is, as a URL")


def run(arguments: argparse.Namespace) -> int:
    """Do the action; 0, or an error of the tree in `ledger.errors`."""
    store = open_store(arguments.store_url)
    try:
        if arguments.action == "list":
            for line in _lines(store):
                print(line)
        elif arguments.action == "password":
            account = _account(store, arguments.account)
            password = _password(arguments.password_file)
            set_password(store, account.account, password, wall_clock_ms(), must_change=arguments.must_change)
            print(f"{account.name} signs in by this name and the password")
        else:
            account = _account(store, arguments.account)
            enrolment = enrol_device(store, account.account, arguments.device, arguments.stage, wall_clock_ms())
            print(f"code, shown only now: {enrolment.code[:4]} {enrolment.code[4:]}")
            print("type it on the device at /enrol within 10 minutes")
    finally:
        store.close()
    return 0


def _lines(store: Store) -> list[str]:
    rows = [row for row in list_accounts(store) if row.closed_ms is None]
    return [f"{row.account}  {row.name or '(name erased)'}  {', '.join(sorted(row.roles))}" for row in rows]


def _account(store: Store, said: str) -> Account:
    """The account in use of an id, or of a name that one account alone has."""
    found = [row for row in list_accounts(store) if row.account == said and row.closed_ms is None]
    found = found or people_named(store, said)
    if len(found) != 1:
        raise NotFound(
            "no account in use has this name" if not found else "several accounts have this name",
            got=said,
            where="account",
            mend="see `pourbook accounts list`, and name it by its id",
        )
    return found[0]


def _password(file: str | None) -> str:
    """From the file's first line, else typed twice at the terminal."""
    if file is not None:
        return first_line(file)
    if not sys.stdin.isatty():
        raise MalformedInput(
            "no terminal to type the password at", where="--password-file", mend="give --password-file FILE"
        )
    password = getpass.getpass("password: ")
    if getpass.getpass("the same again: ") != password:
        raise MalformedInput("the two passwords differ", where="password", mend="run it again")
    return password
