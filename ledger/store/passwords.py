"""Passwords of accounts, as Argon2 texts, and failed sign-ins.  What a password must be, and when a name may try again, is
not decided here (`ledger.access.passwords`, `ledger.access.lockout`).

A failed sign-in is counted under a keyed digest of the name as typed, so that the rows tell nothing about names, and
names that nobody has are counted like any other.
"""

from __future__ import annotations

from hashlib import sha256
from hmac import digest as hmac_digest
from typing import NamedTuple

from ledger.access.lockout import FORGOTTEN_MS, left_ms, standing_failures
from ledger.access.passwords import sign_in_name
from ledger.errors import Contradiction, NotFound
from ledger.store.engine import Store
from ledger.store.transaction import Transaction


class Password(NamedTuple):
    """The password of an open account; ``must_change``: it was given by someone else."""

    account: str
    hash: str
    set_ms: int
    must_change: bool


def put_password(store: Store, account: str, hashed: str, now_ms: int, *, must_change: bool) -> None:
    """Set or replace the password of an open account.

    Raises NotFound for an account that is not open or has no name, Contradiction when another one signs in by that name.
    """
    with store.writing() as transaction:
        found = transaction.row(
            'SELECT "name" FROM "account" WHERE "account" = ? AND "closed_ms" IS NULL AND "name" IS NOT NULL',
            (account,),
        )
        if found is None:
            raise NotFound("account is not open", got=account, where="account")
        name = sign_in_name(found[0])
        put = transaction.run(
            'UPDATE "password" SET "hash" = ?, "set_ms" = ?, "must_change" = ? WHERE "account" = ?',
            (hashed, now_ms, int(must_change), account),
        ) or transaction.run(
            'INSERT INTO "password" ("account", "sign_name", "hash", "set_ms", "must_change") VALUES (?, ?, ?, ?, ?) '
            "ON CONFLICT DO NOTHING",
            (account, name, hashed, now_ms, int(must_change)),
        )
        if not put:
            raise Contradiction(
                "another account signs in by this name",
                where="name",
                mend="open an account with a name of its own, or close the other one",
            )
        _forget_failures(transaction, name)


def password_of(store: Store, name: str) -> Password | None:
    """The password of the open account that signs in by a name, however it is capitalised."""
    with store.reading() as transaction:
        found = transaction.row(
            f'{_PASSWORDS} WHERE p."sign_name" = ? AND a."closed_ms" IS NULL', (sign_in_name(name),)
        )
    return None if found is None else _password(*found)


def password_of_account(store: Store, account: str) -> Password | None:
    """The password of an open account by its id."""
    with store.reading() as transaction:
        found = transaction.row(f'{_PASSWORDS} WHERE p."account" = ? AND a."closed_ms" IS NULL', (account,))
    return None if found is None else _password(*found)


def delete_password(transaction: Transaction, account: str) -> None:
    """Forget an account's password, the name by which it signs in, and failed sign-ins under it."""
    found = transaction.row('SELECT "sign_name" FROM "password" WHERE "account" = ?', (account,))
    if found is not None:
        _forget_failures(transaction, found[0])
        transaction.run('DELETE FROM "password" WHERE "account" = ?', (account,))


def begin_sign_in(store: Store, name: str, now_ms: int) -> int:
    """Count a try under a name as failed and give 0; or count nothing and give the milliseconds it must still wait.

    It is counted before the password is looked at, so that a hundred tries at once are not a hundred tries for free;
    `end_sign_in` takes it back. Failures that no longer count are removed.
    """
    with store.writing() as transaction:
        transaction.run('DELETE FROM "sign_in" WHERE "last_ms" <= ?', (now_ms - FORGOTTEN_MS,))
        key = _key(transaction, sign_in_name(name))
        transaction.run(
            'INSERT INTO "sign_in" ("name", "failures", "last_ms") VALUES (?, ?, ?) ON CONFLICT DO NOTHING',
            (key, 0, now_ms),
        )
        failures, last_ms = transaction.row(  # type: ignore[misc]  # the row was made a statement ago
            f'SELECT "failures", "last_ms" FROM "sign_in" WHERE "name" = ?{transaction.dialect.head_lock}', (key,)
        )
        left = left_ms(failures, last_ms, now_ms)
        if left:
            return left
        transaction.run(
            'UPDATE "sign_in" SET "failures" = ?, "last_ms" = ? WHERE "name" = ?',
            (standing_failures(failures, last_ms, now_ms) + 1, now_ms, key),
        )
    return 0


def sign_in_wait_ms(store: Store, name: str, now_ms: int) -> int:
    """How long a sign-in under a name must still wait, in milliseconds."""
    with store.reading() as transaction:
        key = _key(transaction, sign_in_name(name))
        found = transaction.row('SELECT "failures", "last_ms" FROM "sign_in" WHERE "name" = ?', (key,))
    return 0 if found is None else left_ms(found[0], found[1], now_ms)


def end_sign_in(store: Store, name: str) -> None:
    """Forget the failed sign-ins under a name: one succeeded."""
    with store.writing() as transaction:
        _forget_failures(transaction, sign_in_name(name))


_PASSWORDS = (
    'SELECT p."account", p."hash", p."set_ms", p."must_change" FROM "password" p '
    'JOIN "account" a ON a."account" = p."account"'
)


def _password(account: str, hashed: str, set_ms: int, must_change: int) -> Password:
    return Password(account, hashed, set_ms, bool(must_change))


def _forget_failures(transaction: Transaction, name: str) -> None:
    transaction.run('DELETE FROM "sign_in" WHERE "name" = ?', (_key(transaction, name),))


def _key(transaction: Transaction, name: str) -> str:
    """The digest of a name under the store's own secret."""
    found = transaction.row('SELECT "value" FROM "setting" WHERE "name" = ?', ("request-secret",))
    secret = bytes.fromhex(found[0]) if found is not None else b""
    return hmac_digest(secret, b"sign-in\n" + name.encode("utf-8", "replace"), sha256).hex()
