"""Accounts and their bearer tokens.  What a role may do is not decided here.

An account id is random and stands in entries for ever; its name can be erased, which is said in the book.  A token is shown once, when it is
made; the store keeps its SHA-256, which is enough for a token of 256 random bits.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from ledger.access.tokens import TOKEN_BYTES, format_token, token_digest
from ledger.errors import NotFound
from ledger.line.erasure_rows import AccountName
from ledger.store.devices import delete_devices
from ledger.store.engine import Store
from ledger.store.passwords import delete_password
from ledger.store.sessions import delete_sessions
from ledger.store.transaction import Transaction

_COLUMNS = 'a."account", a."name", a."roles", a."created_ms", a."closed_ms"'


class Account(NamedTuple):
    """An account; ``name`` is None once erased, ``closed_ms`` None while it may be used."""

    account: str
    name: str | None
    roles: frozenset[str]
    created_ms: int
    closed_ms: int | None


def add_account(store: Store, name: str, roles: Iterable[str], now_ms: int) -> Account:
    """Open an account with a random id."""
    account = Account(f"a-{secrets.token_hex(8)}", name, frozenset(roles), now_ms, None)
    with store.writing() as transaction:
        transaction.run(
            'INSERT INTO "account" ("account", "name", "roles", "created_ms") VALUES (?, ?, ?, ?)',
            (account.account, name, _roles_text(account.roles), now_ms),
        )
    return account


def set_roles(store: Store, account: str, roles: Iterable[str]) -> None:
    """Replace an account's roles. Raises NotFound."""
    with store.writing() as transaction:
        changed = transaction.run('UPDATE "account" SET "roles" = ? WHERE "account" = ?', (_roles_text(roles), account))
    if not changed:
        raise NotFound("account is not known", got=account)


def account_name(store: Store, account: str) -> str | None:
    """The name of an open account; None for one that is unknown, closed or without a name."""
    with store.reading() as transaction:
        found = transaction.row('SELECT "name" FROM "account" WHERE "account" = ? AND "closed_ms" IS NULL', (account,))
    return None if found is None else found[0]


def account_names(transaction: Transaction, accounts: Sequence[str]) -> dict[str, Sequence[AccountName]]:
    """Whether a name is kept for each of the accounts that there are."""
    condition = transaction.dialect.any_of('"account"')
    found = transaction.rows_of(f'SELECT "account", "name" FROM "account" WHERE {condition}', accounts)
    return {account: [AccountName(account=account, named=name is not None)] for account, name in found}


def delete_name(transaction: Transaction, account: str) -> bool:
    """Forget who an account is, within the writer's transaction (`ledger.store.erasing`); whether a name was there.

    Its password, sessions and devices go with it; its tokens stay.
    """
    _forget_sign_ins(transaction, account)
    return (
        transaction.run('UPDATE "account" SET "name" = NULL WHERE "account" = ? AND "name" IS NOT NULL', (account,))
        == 1
    )


def close_account(store: Store, account: str, now_ms: int) -> None:
    """End an account; its tokens, password, sessions and devices no longer work. Raises NotFound."""
    with store.writing() as transaction:
        if not transaction.run('UPDATE "account" SET "closed_ms" = ? WHERE "account" = ?', (now_ms, account)):
            raise NotFound("account is not known", got=account)
        _forget_sign_ins(transaction, account)


def issue_token(store: Store, account: str, now_ms: int) -> str:
    """Make a token for an account; it is told here and nowhere again. Raises NotFound."""
    token = format_token(secrets.token_bytes(TOKEN_BYTES))
    with store.writing() as transaction:
        if transaction.row('SELECT 1 FROM "account" WHERE "account" = ? AND "closed_ms" IS NULL', (account,)) is None:
            raise NotFound("account is not open", got=account)
        transaction.run(
            'INSERT INTO "token" ("digest", "account", "created_ms") VALUES (?, ?, ?)',
            (token_digest(token), account, now_ms),
        )
    return token


def revoke_token(store: Store, digest: str, now_ms: int) -> None:
    """End a token by its digest. Raises NotFound for one that is unknown or ended."""
    with store.writing() as transaction:
        ended = transaction.run(
            'UPDATE "token" SET "revoked_ms" = ? WHERE "digest" = ? AND "revoked_ms" IS NULL', (now_ms, digest)
        )
    if not ended:
        raise NotFound("token is not in use", got=digest)


def account_of(store: Store, token: str) -> Account | None:
    """The open account that a token speaks for; None for an unknown or ended one. Raises Unauthenticated for no token."""
    with store.reading() as transaction:
        found = transaction.row(
            f'SELECT {_COLUMNS} FROM "token" t JOIN "account" a ON a."account" = t."account" '
            'WHERE t."digest" = ? AND t."revoked_ms" IS NULL AND a."closed_ms" IS NULL',
            (token_digest(token),),
        )
    return None if found is None else _account(*found)


def list_accounts(store: Store) -> list[Account]:
    """Every account, in the order they were opened."""
    with store.reading() as transaction:
        found = transaction.rows(f'SELECT {_COLUMNS} FROM "account" a ORDER BY a."created_ms", a."account"')
    return [_account(*row) for row in found]


def list_tokens(store: Store, account: str) -> list[str]:
    """Digests of an account's tokens in use, oldest first."""
    with store.reading() as transaction:
        found = transaction.rows(
            'SELECT "digest" FROM "token" WHERE "account" = ? AND "revoked_ms" IS NULL ORDER BY "created_ms", "digest"',
            (account,),
        )
    return [row[0] for row in found]


def _forget_sign_ins(transaction: Transaction, account: str) -> None:
    delete_password(transaction, account)
    delete_sessions(transaction, account)
    delete_devices(transaction, account)


def _roles_text(roles: Iterable[str]) -> str:
    return ",".join(sorted(set(roles)))


def _account(account: str, name: str | None, roles: str, created_ms: int, closed_ms: int | None) -> Account:
    return Account(account, name, frozenset(roles.split(",")) - {""}, created_ms, closed_ms)
