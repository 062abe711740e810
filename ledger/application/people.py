"""People with accounts: opened with a first password, given other roles, closed; and found by the name they sign in by."""

from __future__ import annotations

from collections.abc import Sequence

from ledger.access.passwords import check_password, sign_in_name
from ledger.access.roles import check_roles
from ledger.application.password_hashes import HASHES, PasswordHashes
from ledger.application.sign_in import set_password
from ledger.errors import Contradiction, MalformedInput, Refused, Unauthenticated
from ledger.store.accounts import Account, add_account, close_account, list_accounts, set_roles
from ledger.store.engine import Store
from ledger.store.sessions import add_session

LONGEST_NAME = 80
KEEPER = "admin"


def open_person(
    store: Store, name: str, roles: Sequence[str], password: str, now_ms: int, *, hashes: PasswordHashes = HASHES
) -> Account:
    """Open an account whose first password must be changed at the first sign-in.

    Raises MalformedInput for a name that cannot be, Contradiction for one that is taken, Forbidden for unknown roles,
    Refused for a password that may not be.
    """
    named = " ".join(name.split())
    if not 1 <= len(named) <= LONGEST_NAME or not named.isprintable():
        raise MalformedInput("account needs a name", expected=f"1 to {LONGEST_NAME} characters", where="name")
    if people_named(store, named):
        raise Contradiction("another account has this name", where="name", mend="add what tells the two people apart")
    check_roles(roles)
    check_password(password, named)
    account = add_account(store, named, roles, now_ms)
    set_password(store, account.account, password, now_ms, must_change=True, hashes=hashes)
    return account


def change_roles(store: Store, account: str, roles: Sequence[str], by: str) -> None:
    """Replace an account's roles. Raises Forbidden for unknown ones, NotFound, Refused when keepers would unmake themselves."""
    check_roles(roles)
    if account == by and KEEPER not in roles:
        raise Refused(
            "an account cannot give up its own role of keeper", where="roles", mend="let another keeper take it away"
        )
    set_roles(store, account, roles)


def close_person(store: Store, account: str, now_ms: int, by: str) -> None:
    """End an account and every way in. What it said stands. Raises NotFound, Refused for one's own."""
    if account == by:
        raise Refused("an account cannot close itself", where="account", mend="let another keeper close it")
    close_account(store, account, now_ms)


def people_named(store: Store, name: str) -> list[Account]:
    """The open accounts of a name, however it is capitalised."""
    wanted = sign_in_name(name)
    return [
        account
        for account in list_accounts(store)
        if account.closed_ms is None and account.name is not None and sign_in_name(account.name) == wanted
    ]


def sign_in_vouched(store: Store, name: str, now_ms: int, *, language: str | None = None) -> str:
    """Begin a session for somebody whose name another party vouches for; its cookie, told here and nowhere again.

    No account is made by it. Raises Unauthenticated unless exactly one open account has the name.
    """
    found = people_named(store, name)
    if len(found) != 1:
        raise Unauthenticated(
            "no account here has the name that the other party gave",
            where="name",
            mend="ask the system keeper for an account of that name",
        )
    return add_session(store, found[0].account, now_ms, language)
