"""Creating a book: its store, its first entries, the keeper's account."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from typing import NamedTuple

from ledger.access.tokens import Account
from ledger.application.pourbook import fresh_salts, open_account, wall_clock_ms
from ledger.application.signers import Signers, credential_key_name, dossier_key_name
from ledger.book.instant import Instant, format_instant
from ledger.book.signing import format_verifier
from ledger.errors import Contradiction
from ledger.line.book_keys import BookOpened, KeyIntroduced
from ledger.line.submission import Submission
from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ledger.store.writer import Writer


class Created(NamedTuple):
    """The keeper's account and token; the token is told only here."""

    account: Account
    token: str


def create_book(  # what a book is made of
    url: str,
    *,
    origin: str,
    plant: str,
    signers: Signers,
    keeper: str,
    clock_ms: Callable[[], int] = wall_clock_ms,
    salts: Callable[[int], Sequence[bytes]] = fresh_salts,
    serial_key: bytes | None = None,
) -> Created:
    """Create a book in an empty store: entry 0 opens it, and with it the keys for dossiers and credentials are introduced.

    ``keeper`` is the name of the first account, which has every role of the office. Raises Contradiction for a store that
    holds a book already, StoreUnavailable.
    """
    store = open_store(url)
    try:
        with open_reader(store) as reader:
            size = reader.head().size
        if size:
            raise Contradiction("the store holds a book already", expected="an empty store", got=f"{size} entries")
        account, token = open_account(store, keeper, ("admin", "quality"), clock_ms())
        with store.writing() as transaction:
            transaction.run(
                'INSERT INTO "setting" ("name", "value") VALUES (?, ?) ON CONFLICT DO NOTHING',
                ("serial-key", (serial_key or secrets.token_bytes(32)).hex()),
            )
        writer = Writer(store, origin=origin, signers=signers.checkpoints(), clock_ms=clock_ms, salts=salts)
        writer.start()
        try:
            writer.submit(_opening(origin, plant, signers, clock_ms()), account.account).result()
        finally:
            writer.stop()
    finally:
        store.close()
    return Created(account, token)


def _opening(origin: str, plant: str, signers: Signers, now_ms: int) -> Submission:
    at = format_instant(Instant(now_ms, 0))
    opened = BookOpened(at=at, origin=origin, plant=plant, verifier=format_verifier(signers.checkpoint.verifier))
    introduced = [
        KeyIntroduced(
            at=at,
            key=dossier_key_name(origin),
            purpose="dossier",
            verifier=format_verifier(signers.dossier.verifier),
        )
    ]
    if signers.credential is not None:
        line = format_verifier(signers.credential.verifier)
        introduced.append(KeyIntroduced(at=at, key=credential_key_name(origin), purpose="credential", verifier=line))
    return Submission(key="book-opened", records=(opened, *introduced))
