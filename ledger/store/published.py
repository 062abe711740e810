"""Published checkpoints, the time tokens over them, and how each witness stands: beside the book, as others gave them.

The caller has checked every signature and token before it comes here.  A published note is never changed, since tokens
are over its bytes; those without a token are left out again once `KEPT` later ones are there.
"""

from __future__ import annotations

from typing import NamedTuple

from ledger.store.engine import Store
from ledger.store.store_settings import put_setting
from ledger.store.transaction import Transaction

KEPT = 1_000
"""Published checkpoints without a time token that are kept, the newest; one a minute is about a day's work."""

_FAULT = "token-fault:"
_PUBLISHED = 'SELECT "size", "note", "published_ms" FROM "published"'
_TOKENS = 'SELECT "size", "authority", "response", "at_ms", "received_ms" FROM "time_token"'
_STANDINGS = 'SELECT "verifier", "size", "asked_ms", "cosigned_ms", "fault", "alarm" FROM "witness_standing"'


class Published(NamedTuple):
    """A published checkpoint: its tree size, the whole note, when it was published (POSIX milliseconds)."""

    size: int
    note: bytes
    published_ms: int


class TimeToken(NamedTuple):
    """An RFC 3161 response over the published note of a size: ``at_ms`` is the time it states, both in milliseconds."""

    size: int
    authority: str
    response: bytes
    at_ms: int
    received_ms: int


class WitnessStanding(NamedTuple):
    """How a witness stands, by its verifier line: the size it last signed, when it was last asked and last signed.

    ``fault``: why the last request brought nothing, in words; ``alarm``: that it holds a head which this book has not.
    Both are empty where there is nothing to say.
    """

    verifier: str
    size: int
    asked_ms: int
    cosigned_ms: int | None
    fault: str
    alarm: str


def put_published(store: Store, published: Published) -> bool:
    """Keep a published checkpoint, and leave out old ones; False where one of this size was published before."""
    with store.writing() as transaction:
        made = transaction.run(
            'INSERT INTO "published" ("size", "note", "published_ms") VALUES (?, ?, ?) ON CONFLICT ("size") DO NOTHING',
            published,
        )
        _leave_out_old(transaction)
    return bool(made)


def _leave_out_old(transaction: Transaction) -> None:
    edge = transaction.row(
        'SELECT "size" FROM "published" ORDER BY "size" DESC LIMIT 1 OFFSET ?',
        (KEPT - 1,),
    )
    if edge is None:
        return
    for table in ("published", "cosignature"):
        transaction.run(
            f'DELETE FROM "{table}" WHERE "size" < ? AND "size" NOT IN (SELECT "size" FROM "time_token")', edge
        )


def put_time_token(store: Store, token: TimeToken) -> None:
    """Keep a token; one of the same authority over the same note stays as it came."""
    with store.writing() as transaction:
        transaction.run(
            'INSERT INTO "time_token" ("size", "authority", "response", "at_ms", "received_ms") VALUES (?, ?, ?, ?, ?) '
            'ON CONFLICT ("size", "authority") DO NOTHING',
            token,
        )


def put_witness_standing(store: Store, standing: WitnessStanding) -> None:
    """Keep how a witness stands now."""
    changed = ", ".join(f'"{name}" = excluded."{name}"' for name in WitnessStanding._fields[1:])
    with store.writing() as transaction:
        transaction.run(
            'INSERT INTO "witness_standing" ("verifier", "size", "asked_ms", "cosigned_ms", "fault", "alarm") '
            f'VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT ("verifier") DO UPDATE SET {changed}',
            standing,
        )


def put_token_fault(store: Store, authority: str, fault: str) -> None:
    """Keep why an authority gave no token when it was last asked; empty where it gave one."""
    with store.writing() as transaction:
        put_setting(transaction, f"{_FAULT}{authority}", fault)


def token_fault(transaction: Transaction, authority: str) -> str:
    """Why an authority gave no token when it was last asked; empty where it gave one, or was never asked."""
    found = transaction.row('SELECT "value" FROM "setting" WHERE "name" = ?', (f"{_FAULT}{authority}",))
    return "" if found is None else str(found[0])


def newest_published(transaction: Transaction) -> Published | None:
    """The largest published checkpoint; None before the first."""
    found = transaction.row(f'{_PUBLISHED} ORDER BY "size" DESC LIMIT 1')
    return None if found is None else Published(*found)


def published_at(transaction: Transaction, size: int) -> Published | None:
    """The published checkpoint of exactly this size, if it was published and is still kept."""
    found = transaction.row(f'{_PUBLISHED} WHERE "size" = ?', (size,))
    return None if found is None else Published(*found)


def newest_with_token(transaction: Transaction) -> Published | None:
    """The largest published checkpoint that has a time token."""
    found = transaction.row(
        f'{_PUBLISHED} WHERE "size" IN (SELECT "size" FROM "time_token") ORDER BY "size" DESC LIMIT 1'
    )
    return None if found is None else Published(*found)


def every_published(transaction: Transaction) -> list[Published]:
    """All that are kept, smallest first."""
    return [Published(*row) for row in transaction.rows(f'{_PUBLISHED} ORDER BY "size"')]


def time_tokens(transaction: Transaction, size: int) -> list[TimeToken]:
    """The tokens over the published note of a size, by authority."""
    return [TimeToken(*row) for row in transaction.rows(f'{_TOKENS} WHERE "size" = ? ORDER BY "authority"', (size,))]


def last_token(transaction: Transaction, authority: str) -> TimeToken | None:
    """The token that an authority gave last, over the largest note."""
    found = transaction.row(f'{_TOKENS} WHERE "authority" = ? ORDER BY "size" DESC LIMIT 1', (authority,))
    return None if found is None else TimeToken(*found)


def witness_standings(transaction: Transaction) -> dict[str, WitnessStanding]:
    """How every witness that was ever asked stands, by its verifier line."""
    return {row[0]: WitnessStanding(*row) for row in transaction.rows(_STANDINGS)}
