"""What handlers work with: the book and the parts around it, held once by the application."""

import asyncio
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any, ParamSpec, TypeVar

import msgspec
from litestar import Request, Response

from api.delivery import Delivery
from api.guards import Identity
from api.histogram import Histogram
from api.links import Links
from api.pages.access.provider import Provider
from api.pages.session import Sessions
from api.rate_limit import RateLimiter
from api.settings import Settings
from api.traces import Traces
from ledger.access.tokens import Account
from ledger.application.book_checks import BookChecks
from ledger.application.long_reads import LongReads
from ledger.application.pourbook import Pourbook
from ledger.application.said_first import is_looked_at
from ledger.line.submission import Submission
from ledger.store.answer import Entered

P = ParamSpec("P")
R = TypeVar("R")

WORKERS = 16
"""Threads that ask the book questions."""

TURNS = 2
"""How many longer answers (sheets, registers) are made on threads at a time; the others wait their turn."""

_encode = msgspec.json.Encoder().encode


@dataclass(frozen=True, slots=True)
class Parts:
    """The parts of one running service."""

    book: Pourbook
    settings: Settings
    delivery: Delivery
    identity: Identity
    sessions: Sessions
    limiter: RateLimiter
    links: Links
    registrations: Histogram
    long_reads: LongReads
    checks: BookChecks
    turns: asyncio.Semaphore
    provider: Provider | None = None
    traces: Traces | None = None

    async def submit(self, submission: Submission, account: Account) -> Entered:
        """Say records and wait for their entry without holding the loop. Raises what refused them."""
        future = self.delivery.new_future()
        if is_looked_at(submission.records):
            await asyncio.to_thread(self.book.submit, submission, account, future)
        else:
            self.book.submit(submission, account, future)
        self.links.heard(submission.records)
        if self.traces is None:
            return await future
        with self.traces.waiting():
            return await future

    async def entered(self, waiting: Future[Entered]) -> Entered:
        """Wait for what the book was told without holding the loop. Raises what refused it."""
        future = asyncio.wrap_future(waiting)
        if self.traces is None:
            return await future
        with self.traces.waiting():
            return await future

    async def long_read(self, ask: Callable[P, R], *args: P.args, **kwargs: P.kwargs) -> R:
        """Ask a question that may take a while, on a thread, a few at a time."""
        async with self.turns:
            return await asyncio.to_thread(ask, *args, **kwargs)

    async def long_answer(self, question: Callable[..., Any], *arguments: Any, **named: Any) -> bytes:
        """The JSON of a question that may take long, made in a process of its own (`LongReads.answer`)."""
        return await asyncio.wrap_future(self.long_reads.answer(question, *arguments, **named))


def parts_of(request: Request[Any, Any, Any]) -> Parts:
    """What a request came to."""
    parts: Parts = request.app.state.parts
    return parts


def json_answer(value: Any, *, status: int = 200, headers: dict[str, str] | None = None) -> Response[bytes]:
    """``value`` as JSON: bytes go out as they are."""
    content = value if isinstance(value, bytes) else _encode(value)
    return Response(content=content, media_type="application/json", status_code=status, headers=headers)


class PlainAnswer:
    """JSON bytes as an answer of their own: what `json_answer` gives, without the framework's merging of headers.

    For the one route that every registration takes, where that merging is a tenth of the work.
    """

    __slots__ = ("_content", "_status")

    def __init__(self, content: bytes, status: int) -> None:
        """``content`` goes out as it is."""
        self._content = content
        self._status = status

    async def __call__(self, _scope: Any, _receive: Any, send: Any) -> None:
        """One ASGI call."""
        length = str(len(self._content)).encode()
        headers = [(b"content-type", b"application/json"), (b"content-length", length)]
        await send({"type": "http.response.start", "status": self._status, "headers": headers})
        await send({"type": "http.response.body", "body": self._content, "more_body": False})


def plain_answer(value: Any, *, status: int) -> PlainAnswer:
    """``value`` as JSON, as an answer of its own."""
    return PlainAnswer(_encode(value), status)


def file_answer(
    content: bytes, media_type: str, *, name: str = "", headers: dict[str, str] | None = None
) -> Response[bytes]:
    """Bytes of another type; ``name``, of plain ASCII letters, makes the client save them."""
    sent = dict(headers or {})
    if name:
        sent["content-disposition"] = f'attachment; filename="{name}"'
    return Response(content=content, media_type=media_type, headers=sent)
