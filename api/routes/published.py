"""Published checkpoints, for anyone: whole notes with the witnesses' cosignatures, and the time tokens over their bytes.

``/checkpoint`` is the newest head, which may be seconds old and signed by the log alone; what stands here was signed by the
quorum of the witness policy, and never changes.
"""

import asyncio
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath

from api.operation import Operation, described
from api.parts import file_answer, json_answer, parts_of
from api.routes.proofs import TEXT
from ledger.application.published import PublishedCheckpoint, newest, published_of_size
from ledger.application.witnessing import Witnessing, witnessing
from ledger.errors import NotFound
from ledger.evidence.time_token import RESPONSE_TYPE
from ledger.store.engine import Store
from ledger.store.reader import open_reader


class TokenNamed(msgspec.Struct, frozen=True, kw_only=True):
    """A time token over a published checkpoint: its authority, the time it states, and where it is."""

    authority: str
    at_ms: int
    address: str


class PublishedNamed(msgspec.Struct, frozen=True, kw_only=True):
    """A published checkpoint and the tokens over it."""

    size: int
    published_ms: int
    note: str
    tokens: tuple[TokenNamed, ...]


class PublishedRoutes(Controller):
    """What is published."""

    path = "/checkpoint/published"

    @get(opt=described(Operation("The newest published checkpoint", "proofs", media=TEXT, problems=(404,))))
    async def newest(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A C2SP checkpoint with cosignatures, as published."""
        found = await asyncio.to_thread(_found, parts_of(request).book.store, None)
        return file_answer(found.note, TEXT)

    @get(
        "/{size:int}",
        opt=described(
            Operation(
                "A published checkpoint and its time tokens",
                "proofs",
                answer=PublishedNamed,
                problems=(404,),
                may_lag=True,
            )
        ),
    )
    async def of_size(self, request: Request[Any, Any, Any], size: FromPath[int]) -> Response[bytes]:
        """What was published at a size; older ones without a token are left out in time."""
        found = await asyncio.to_thread(_found, parts_of(request).book.store, size)
        stem = f"/checkpoint/published/{found.size}/tokens"
        tokens = tuple(
            TokenNamed(authority=one.authority, at_ms=one.at_ms, address=f"{stem}/{one.authority}")
            for one in found.tokens
        )
        named = PublishedNamed(
            size=found.size, published_ms=found.published_ms, note=found.note.decode(), tokens=tokens
        )
        return json_answer(named)

    @get(
        "/{size:int}/tokens/{authority:str}",
        opt=described(
            Operation("A time token (RFC 3161)", "proofs", media=RESPONSE_TYPE, problems=(404,), may_lag=True)
        ),
    )
    async def token(
        self, request: Request[Any, Any, Any], size: FromPath[int], authority: FromPath[str]
    ) -> Response[bytes]:
        """The answer of a time stamping authority over the bytes of the published checkpoint."""
        found = await asyncio.to_thread(_found, parts_of(request).book.store, size)
        for one in found.tokens:
            if one.authority == authority:
                return file_answer(one.response, RESPONSE_TYPE)
        raise NotFound("authority gave no token over this checkpoint", got=authority, where=f"size {size}")

    @get(
        "/standing",
        opt=described(Operation("How the book is witnessed", "proofs", action="look-up", answer=Witnessing)),
    )
    async def standing(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Witnesses, quorum, tokens, and what is exposed to a rollback."""
        return json_answer(await asyncio.to_thread(witnessing, parts_of(request).book))


def _found(store: Store, size: int | None) -> PublishedCheckpoint:
    """The published checkpoint of a size, None: the newest. Raises NotFound."""
    with open_reader(store) as reader:
        found = newest(reader) if size is None else published_of_size(reader, min(size, 2**53))
    if found is None:
        raise NotFound(
            "no checkpoint of this size is published" if size is not None else "no checkpoint is published yet",
            got=size,
            mend="ask for /checkpoint/published" if size is not None else "name witnesses in a policy",
        )
    return found
