"""Sessions of browsers: begun by a sign-in, found by the digest of their cookie, ended.

A session ends 12 hours after it was begun, or after an hour without use; common practice, no source.  Its last use is
written at most once a minute, so that looking at pages does not write; so it may end a minute early.  The rows of
sessions are removed a day after their beginning.
"""

from __future__ import annotations

import secrets
from typing import Any, NamedTuple

from ledger.access.cookies import COOKIE_BYTES, cookie_digest, format_cookie
from ledger.errors import NotFound
from ledger.store.engine import Store
from ledger.store.transaction import Transaction

LASTS_MS = 12 * 3_600_000
UNUSED_MS = 3_600_000
SEEN_EVERY_MS = 60_000
KEPT_MS = 24 * 3_600_000


class Session(NamedTuple):
    """A session in use, and the account that it speaks for. ``must_change``: its password was given by someone else."""

    digest: str
    account: str
    name: str | None
    roles: frozenset[str]
    created_ms: int
    seen_ms: int
    language: str | None
    must_change: bool


def add_session(store: Store, account: str, now_ms: int, language: str | None = None) -> str:
    """Begin a session of an open account; its cookie is told here and nowhere again. Raises NotFound."""
    cookie = format_cookie("session", secrets.token_bytes(COOKIE_BYTES))
    with store.writing() as transaction:
        if transaction.row('SELECT 1 FROM "account" WHERE "account" = ? AND "closed_ms" IS NULL', (account,)) is None:
            raise NotFound("account is not open", got=account)
        transaction.run('DELETE FROM "session" WHERE "created_ms" < ?', (now_ms - KEPT_MS,))
        transaction.run(
            'INSERT INTO "session" ("digest", "account", "created_ms", "seen_ms", "language") VALUES (?, ?, ?, ?, ?)',
            (cookie_digest("session", cookie), account, now_ms, now_ms, language),
        )
    return cookie


def session_of(store: Store, cookie: str, now_ms: int) -> Session | None:
    """The session of a cookie while it lasts, and its use noted; None for another. Raises Unauthenticated for no cookie."""
    digest = cookie_digest("session", cookie)
    with store.reading() as transaction:
        found = transaction.row(f'{_SESSIONS} AND s."digest" = ?', (now_ms - LASTS_MS, now_ms - UNUSED_MS, digest))
    if found is None:
        return None
    session = _session(found)
    if now_ms - session.seen_ms >= SEEN_EVERY_MS:
        with store.writing(moved_too=True) as transaction:
            transaction.run(
                'UPDATE "session" SET "seen_ms" = ? WHERE "digest" = ? AND "seen_ms" < ?', (now_ms, digest, now_ms)
            )
    return session


def list_sessions(store: Store, account: str, now_ms: int) -> list[Session]:
    """An account's sessions in use, oldest first."""
    with store.reading() as transaction:
        found = transaction.rows(
            f'{_SESSIONS} AND s."account" = ? ORDER BY s."created_ms", s."digest"',
            (now_ms - LASTS_MS, now_ms - UNUSED_MS, account),
        )
    return [_session(row) for row in found]


def end_session(store: Store, digest: str, now_ms: int) -> None:
    """End a session by the digest of its cookie; one that has ended stays so."""
    with store.writing() as transaction:
        transaction.run(
            'UPDATE "session" SET "ended_ms" = ? WHERE "digest" = ? AND "ended_ms" IS NULL', (now_ms, digest)
        )


def end_sessions(store: Store, account: str, now_ms: int, *, but: str = "") -> int:
    """End every session of an account, except that of the digest ``but``; how many ended."""
    with store.writing() as transaction:
        return transaction.run(
            'UPDATE "session" SET "ended_ms" = ? WHERE "account" = ? AND "ended_ms" IS NULL AND "digest" <> ?',
            (now_ms, account, but),
        )


def set_session_language(store: Store, digest: str, language: str | None) -> None:
    """Show a session's pages in a language; None follows the browser."""
    with store.writing() as transaction:
        transaction.run('UPDATE "session" SET "language" = ? WHERE "digest" = ?', (language, digest))


def delete_sessions(transaction: Transaction, account: str) -> None:
    """Forget every session of an account."""
    transaction.run('DELETE FROM "session" WHERE "account" = ?', (account,))


_SESSIONS = (
    'SELECT s."digest", s."account", a."name", a."roles", s."created_ms", s."seen_ms", s."language", p."must_change" '
    'FROM "session" s JOIN "account" a ON a."account" = s."account" '
    'LEFT JOIN "password" p ON p."account" = s."account" '
    'WHERE a."closed_ms" IS NULL AND s."ended_ms" IS NULL AND s."created_ms" > ? AND s."seen_ms" > ?'
)


def _session(row: tuple[Any, ...]) -> Session:
    digest, account, name, roles, created_ms, seen_ms, language, must_change = row
    kept = frozenset(roles.split(",")) - {""}
    return Session(digest, account, name, kept, created_ms, seen_ms, language, bool(must_change))
