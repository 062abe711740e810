"""A real service for tests: a real book in a folder, a real server on a free loopback port, a client for each role."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import msgspec

from api.app import create_app
from api.delivery import Delivery
from api.server import serving
from api.settings import Settings
from api.traces import Traces
from ledger.access.tokens import Account
from ledger.application.creating import create_book
from ledger.application.pourbook import Pourbook
from ledger.application.signers import Signers, dossier_key_name
from ledger.book.signing import signer_from_seed
from ledger.line.submission import Submission
from ledger.store.engine import open_store
from tests.plant import AT, ORIGIN, SIGNER, line_start, registration

STEM = "https://id.example.com"
GTIN = "09521234543213"
SIGNERS = Signers(SIGNER, signer_from_seed(dossier_key_name(ORIGIN), bytes(range(1, 33)), "dossier"))
ROLES = ("station", "inspector", "quality", "desk", "auditor", "examiner", "admin")
PLAN = {
    "kind": "plan-set", "at": AT, "model": "M1", "from_at": AT, "windows": [], "inspect": [],
    "rulebooks": [],
}  # fmt: skip


class Service:
    """One running service, its book, and clients of every role."""

    def __init__(self, url: str, book: Pourbook, tokens: dict[str, str], keeper: Account) -> None:
        """Clients keep their connections until ``close``."""
        self.url = url
        self.book = book
        self.tokens = tokens
        self.keeper = keeper
        self.nobody = httpx.Client(base_url=url, timeout=60)
        self._clients = {role: self.client(token) for role, token in tokens.items()}
        self._keys = itertools.count(1)

    def client(self, token: str) -> httpx.Client:
        """A client with a token."""
        return httpx.Client(base_url=self.url, timeout=60, headers={"authorization": f"Bearer {token}"})

    def __getitem__(self, role: str) -> httpx.Client:
        """The client of a role."""
        return self._clients[role]

    def key(self) -> dict[str, str]:
        """A header with a fresh idempotency key."""
        return {"idempotency-key": f"test-{next(self._keys)}"}

    def say(self, role: str, *records: dict[str, Any], key: str | None = None) -> httpx.Response:
        """Say records over HTTP."""
        headers = self.key() if key is None else {"idempotency-key": key}
        return self[role].post("/submissions", json={"records": records}, headers=headers)

    def close(self) -> None:
        """Close every connection."""
        for client in (self.nobody, *self._clients.values()):
            client.close()


@contextmanager
def running(
    folder: Path,
    *,
    balls: int = 0,
    url: str = "",
    signers: Signers = SIGNERS,
    traces: Traces | None = None,
    statement_s: float = 0,
    **changes: Any,
) -> Iterator[Service]:
    """A service over a new book that holds the line's first records and so many balls.

    ``statement_s``: how long a statement of its store may take; ``changes`` are settings.
    """
    store = url or f"sqlite:///{folder / 'book.sqlite'}"
    created = create_book(store, origin=ORIGIN, plant="Test plant", signers=signers, keeper="A keeper")
    delivery = Delivery()
    opened = open_store(store, statement_s=statement_s)
    book = Pourbook(opened, origin=ORIGIN, signers=signers, label_stem=STEM, deliver=delivery)
    book.start()
    tokens = {role: book.open_account(f"The {role}", (role,))[1] for role in ROLES}
    for submission in [*line_start(), *(registration(number) for number in range(1, balls + 1))]:
        book.submit(submission, created.account).result()
    settings = msgspec.structs.replace(Settings(token_memory_s=0.0, long_reads=0), **changes)
    with serving(create_app(book, settings, delivery, traces)) as address:
        service = Service(address, book, tokens, created.account)
        try:
            yield service
        finally:
            service.close()


def engraved(number: int, **changes: Any) -> dict[str, Any]:
    """The body of a registration of one ball with a prior number and its mass."""
    return {
        "unit": f"U-{number:06d}", "lot": "SL-1", "serial": f"P{number:06d}", "weight_class": 15, "station": "E1",
        "at": AT, "scheme": "prior",
        "readings": [{"quantity": "mass", "unit": "lb", "values": ["15.05"], "gauge": "G1"}], **changes,
    }  # fmt: skip


def said_by(submission: Submission) -> list[dict[str, Any]]:
    """The records of a submission as JSON objects."""
    return [msgspec.to_builtins(record) for record in submission.records]
