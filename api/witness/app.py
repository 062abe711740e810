"""The two addresses of a witness, and what each answers. Source: C2SP tlog-witness v1.0.0.

    POST <prefix>/add-checkpoint                    200 cosignature lines; 400, 403, 404, 409, 422 as there
    GET  <prefix>/<sha256 of origin, hex>/checkpoint   200 the last cosigned checkpoint; 404

A 409 for another old size has the stored size as its body, of type ``text/x.tlog.size``; every other refusal has one line
of plain text. Over its limits the witness answers 413 (body), 408 (a body that does not come), 429 (requests from one
address) or 503 (requests at once); where it cannot keep what it would sign, 503 and no signature.
"""

import asyncio
import logging
from typing import Any, NamedTuple

from litestar import Controller, Litestar, Request, Response, Router, get, post
from litestar.datastructures import State
from litestar.exceptions import HTTPException
from litestar.params import FromPath

from api.rate_limit import RateLimiter
from api.request_body import read_bytes
from ledger.application.witness import Witness
from ledger.book.witness import SIZE_TYPE
from ledger.errors import LedgerError, StoreError, TooLarge, WitnessRefused

TEXT = "text/plain"

LOG = logging.getLogger("pourbook.witness")


class Limits(NamedTuple):
    """What one witness takes: bytes of a request, seconds for its body, requests at once, a minute's from one address."""

    body: int = 100_000
    body_s: float = 10.0
    at_once: int = 64
    per_minute: int = 600
    burst: int = 60


class _Parts:
    """The witness, and what it lets in."""

    def __init__(self, witness: Witness, limits: Limits) -> None:
        self.witness = witness
        self.limits = limits
        self.limiter = RateLimiter(limits.per_minute, limits.burst)
        self.at_hand = 0


class WitnessRoutes(Controller):
    """A witness's whole interface."""

    @post("/add-checkpoint", status_code=200)
    async def add_checkpoint(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Cosign a checkpoint that extends the last one."""
        parts = _admitted(request)
        parts.at_hand += 1
        try:
            async with asyncio.timeout(parts.limits.body_s):
                body = await read_bytes(request, parts.limits.body)
            lines = await asyncio.to_thread(parts.witness.add_checkpoint, body)
        except TimeoutError:
            return _said(408, "request did not come in time")
        finally:
            parts.at_hand -= 1
        return Response(lines, media_type=TEXT)

    @get("/{origin_hash:str}/checkpoint")
    async def checkpoint(self, request: Request[Any, Any, Any], origin_hash: FromPath[str]) -> Response[bytes]:
        """The last checkpoint that was cosigned for a log, with the cosignature."""
        note = await asyncio.to_thread(_admitted(request).witness.checkpoint, origin_hash)
        if note is None:
            return _said(404, "no checkpoint of such a log was cosigned here")
        return Response(note, media_type=TEXT, headers={"cache-control": "no-cache"})


def witness_app(witness: Witness, *, prefix: str = "", limits: Limits | None = None) -> Litestar:
    """The application of a witness; ``prefix`` begins with a slash, or is empty."""
    parts = _Parts(witness, limits or Limits())
    return Litestar(
        route_handlers=[Router(path=prefix or "/", route_handlers=[WitnessRoutes])],
        exception_handlers={LedgerError: _refused, HTTPException: _http, Exception: _failed},
        openapi_config=None,
        logging_config=None,
        request_max_body_size=None,
        state=State({"parts": parts}, deep_copy=False),
    )


def _admitted(request: Request[Any, Any, Any]) -> _Parts:
    parts: _Parts = request.app.state.parts
    client = request.scope.get("client")
    parts.limiter.admit(client[0] if client else "unknown")
    if parts.at_hand >= parts.limits.at_once:
        raise HTTPException(status_code=503, detail="too many requests at once", headers={"retry-after": "1"})
    return parts


def _said(status: int, text: str, headers: dict[str, str] | None = None) -> Response[bytes]:
    line = text.encode("utf-8", "replace").replace(b"\n", b" ") + b"\n"
    return Response(line, status_code=status, media_type=TEXT, headers=headers)


def _refused(_: Request[Any, Any, Any], error: LedgerError) -> Response[bytes]:
    if isinstance(error, WitnessRefused):
        if error.stored_size is not None:
            # As a header, since the framework adds a charset to media types of text, and the standard has none.
            size = f"{error.stored_size}\n".encode()
            return Response(size, status_code=error.status, headers={"content-type": SIZE_TYPE})
        return _said(error.status, str(error))
    if isinstance(error, TooLarge):
        return _said(413, str(error))
    LOG.error("nothing signed: %s", error)
    return _said(503 if isinstance(error, StoreError) else 500, "nothing was signed")


def _http(_: Request[Any, Any, Any], error: HTTPException) -> Response[bytes]:
    return _said(error.status_code, str(error.detail), error.headers)


def _failed(_: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    LOG.error("nothing signed", exc_info=error)
    return _said(500, "nothing was signed")
