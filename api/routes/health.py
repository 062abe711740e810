"""Liveness, readiness and measurements."""

import asyncio
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get

from api.counters import read_store_counts
from api.exposition import read_store_exposition, watched_exposition, witnessing_exposition
from api.operation import Operation, described
from api.parts import file_answer, json_answer, parts_of
from ledger.application.watching import watched
from ledger.application.witnessing import witnessing
from ledger.book.checkpoint import parse_checkpoint
from ledger.errors import WriterStopped
from ledger.store.followed_store import FollowedStore

EXPOSITION = "text/plain; version=0.0.4"


class Live(msgspec.Struct, frozen=True, kw_only=True):
    """The process answers."""

    live: bool = True


class Ready(msgspec.Struct, frozen=True, kw_only=True):
    """The book can be read; ``size`` is the tree size of its newest checkpoint."""

    ready: bool
    origin: str
    size: int


class Health(Controller):
    """For whoever watches the service."""

    @get("/live", opt=described(Operation("The process answers", "keeper", answer=Live)))
    async def live(self, request: Request[Any, Any, Any]) -> Response[bytes]:  # noqa: ARG002  # the router gives it
        """Answers whatever the store does."""
        return json_answer(Live())

    @get("/ready", opt=described(Operation("The book can be read", "keeper", answer=Ready, problems=(503,))))
    async def ready(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Reads the head of the book; 503 when that fails or nothing is taken any more."""
        book = parts_of(request).book
        if not book.takes_submissions:
            raise WriterStopped("the writer takes nothing", mend="restart the service")
        note = await asyncio.to_thread(book.checkpoint)
        return json_answer(Ready(ready=True, origin=book.origin, size=parse_checkpoint(note).tree_size if note else 0))

    @get(
        "/metrics",
        opt=described(
            Operation(
                "What there is to watch: the book, witnesses, standbys, refusals, times",
                "keeper",
                action="metrics",
                media=EXPOSITION,
            )
        ),
    )
    async def metrics(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """How far the book is, witnessed, backed up and followed; groups, refusals and problems by code; registration times."""
        parts = parts_of(request)
        seen = await asyncio.to_thread(watched, parts.book)
        found = await asyncio.to_thread(witnessing, parts.book)
        now_ms = parts.book.clock_ms()
        counted = parts.delivery.counters.exposition() + parts.registrations.exposition()
        text = watched_exposition(seen, now_ms) + witnessing_exposition(found, now_ms) + counted
        store = parts.book.store
        if isinstance(store, FollowedStore):
            text += read_store_exposition(store.read_store) + read_store_counts(store.read_store.answers)
        return file_answer(text.encode(), EXPOSITION)
