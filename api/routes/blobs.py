"""Blobs: large bytes (photos, logs, long lists), stored by their SHA-256 and read by it.

They are no entries: nothing is said by sending one, and there is no idempotency key, since the same bytes are the same
blob.  When the answer comes, the bytes are durable.  They are handed out for saving and never shown as a page: whoever
may send a blob could otherwise put a script before whoever may read it.
"""

import asyncio
import re
from typing import Any

import msgspec
from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath

from api.operation import Operation, described
from api.parts import file_answer, json_answer, parts_of
from api.request_body import read_bytes
from ledger.store.blobs import put_blob, read_blob

BYTES = "application/octet-stream"
_ALONE = {"content-security-policy": "default-src 'none'; sandbox"}


class BlobKept(msgspec.Struct, frozen=True, kw_only=True):
    """A blob that is stored: its SHA-256 in lower-case hex, its length, and the type with which it first came."""

    digest: str
    media_type: str
    length: int


class Blobs(Controller):
    """Large bytes in, by digest out."""

    path = "/blobs"

    @post(
        # The limit is a setting of the service, and kept while the body comes in.
        request_max_body_size=None,
        opt=described(
            Operation(
                "Store bytes by their SHA-256; the same bytes again are a 200",
                "blobs",
                action="send-blob",
                takes=BYTES,
                answer=BlobKept,
                problems=(409,),
                status=201,
            )
        ),
    )
    async def sent(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Bytes of any type, named in Content-Type. 201, or 200 where they were stored before; 409 for bytes that were erased."""
        parts = parts_of(request)
        raw = await read_bytes(request, parts.settings.blob_limit)
        media_type = re.split("[; ]", request.headers.get("content-type", "").strip().lower(), maxsplit=1)[0]
        kept = await asyncio.to_thread(put_blob, parts.book.store, raw, media_type)
        told = BlobKept(digest=kept.digest, media_type=kept.media_type, length=kept.length)
        return json_answer(told, status=201 if kept.fresh else 200)

    @get(
        "/{digest:str}",
        opt=described(
            Operation("The bytes of a blob, for saving", "blobs", action="read-blob", media=BYTES, problems=(404,))
        ),
    )
    async def read(self, request: Request[Any, Any, Any], digest: FromPath[str]) -> Response[bytes]:
        """The bytes, under the type with which they first came. A 404 for bytes that were erased names the fact that did it."""
        blob = await asyncio.to_thread(read_blob, parts_of(request).book.store, digest)
        return file_answer(blob.bytes, blob.media_type, name=blob.digest, headers=_ALONE)
