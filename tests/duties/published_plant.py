"""A small book and what publishes it, for tests: witnesses, authorities and faults are given by each test."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from api.outgoing import Outgoing
from ledger.application.creating import create_book
from ledger.application.pourbook import Pourbook, open_book
from ledger.duties.publishing import Publishing, PublishingPlan
from ledger.duties.witness_talk import Send
from ledger.evidence.time_token import RESPONSE_TYPE
from ledger.store.published import Published, newest_published
from ops.demo_walk.openssl_authority import Reply, served
from tests.api.running import SIGNERS, STEM
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.plant import ORIGIN, START_MS, line_start, registration


class PublishedPlant:
    """A book whose line has begun, with a clock that stands until it is set."""

    def __init__(self, folder: Path, url: str = "") -> None:
        """Create and open it."""
        self.now_ms = START_MS + 100_000
        self.url = url or f"sqlite:///{folder / 'book.sqlite'}"
        created = create_book(
            self.url,
            origin=ORIGIN,
            plant="Test plant",
            signers=SIGNERS,
            keeper="A keeper",
            clock_ms=lambda: self.now_ms,
        )
        self.keeper = created.account
        self.book = self.opened()
        self.book.start()
        for submission in line_start():
            self.book.submit(submission, self.keeper).result(30)
        self._number = 0

    def opened(self) -> Pourbook:
        """The book, opened once more and not started."""
        return open_book(self.url, origin=ORIGIN, signers=SIGNERS, label_stem=STEM, clock_ms=lambda: self.now_ms)

    def grows(self) -> int:
        """One more ball; the size of the book."""
        self._number += 1
        return int(self.book.submit(registration(self._number), self.keeper).result(30).index) + 1

    def publishing(self, plan: PublishingPlan, send: Send | None = None, **more: Any) -> Publishing:
        """One turn after the other, by hand."""
        return Publishing(
            self.book.store,
            plan,
            send or Outgoing(30),
            newest=self.book.checkpoint,
            keys=self.book.checkpoint_keys,
            clock_ms=lambda: self.now_ms,
            **more,
        )

    def published(self) -> Published | None:
        """The newest published checkpoint."""
        with self.book.store.reading() as transaction:
            return newest_published(transaction)


@contextmanager
def served_tsa(tsa: OpenSslTsa, asked: list[bytes] | None = None, faults: Sequence[str] = ()) -> Iterator[str]:
    """An authority behind HTTP, which answers by ``openssl ts -reply``; the address is given.

    ``faults``: what it does with its first requests: ``500``, ``text`` (another media type), ``old`` (a stale answer).
    """
    coming = iter(faults)
    old: list[bytes] = []

    def reply(request: bytes) -> Reply:
        fault = next(coming, "")
        if asked is not None:
            asked.append(request)
        answer = tsa.answer(request)
        old.append(answer)
        return Reply(
            body=old[0] if fault == "old" else answer,
            status=500 if fault == "500" else 200,
            media="text/plain" if fault == "text" else RESPONSE_TYPE,
        )

    with served(reply) as address:
        yield address
