"""What the book shows of itself: checkpoint, receipts, consistency, tiles, and whole entries to those who may.

Checkpoints, receipts and hash tiles are public, since they are digests.  Entries carry recipe quantities and names in
their openings, so they need a role.  Formats: C2SP tlog-checkpoint, tlog-proof, tlog-tiles.
"""

import asyncio
import base64
from typing import Annotated, Any

import msgspec
from litestar import Controller, Request, Response, get
from litestar.params import FromPath
from msgspec import Meta

from api.operation import Operation, described
from api.parts import file_answer, json_answer, parts_of
from api.request_body import read_query
from ledger.application.proofs import EntryView
from ledger.book.tiles import parse_entries_path, parse_tile_path
from ledger.errors import NotFound

TEXT, BYTES = "text/plain", "application/octet-stream"
_FOR_EVER = {"cache-control": "public, max-age=31536000, immutable"}

Size = Annotated[int, Meta(ge=0, le=9_007_199_254_740_991)]


class Sizes(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Two tree sizes, the smaller first."""

    old: Size
    new: Size


class ConsistencyProof(msgspec.Struct, frozen=True, kw_only=True):
    """A proof that the larger tree extends the smaller: hashes of 32 bytes in base64 (RFC 9162 section 2.1.4)."""

    old: int
    new: int
    proof: tuple[str, ...]


class Against(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which checkpoint a receipt is against: the newest, or the newest ``published`` one, which witnesses signed too."""

    published: bool = False


class Proofs(Controller):
    """Proofs for anyone, entries for some."""

    @get("/checkpoint", opt=described(Operation("The newest signed checkpoint", "proofs", media=TEXT)))
    async def checkpoint(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A C2SP checkpoint, as signed."""
        return file_answer(await asyncio.to_thread(parts_of(request).book.checkpoint), TEXT)

    @get(
        "/receipts/{index:int}",
        opt=described(
            Operation("The receipt of an entry", "proofs", query=Against, media=TEXT, problems=(404,), may_lag=True)
        ),
    )
    async def receipt(self, request: Request[Any, Any, Any], index: FromPath[int]) -> Response[bytes]:
        """A C2SP tlog-proof against the newest checkpoint; ``published=true``: against the newest published one."""
        against = read_query(request, Against)
        book = parts_of(request).book
        text = await asyncio.to_thread(book.receipt, _small(index), published=against.published)
        return file_answer(text.encode(), TEXT)

    @get(
        "/consistency",
        opt=described(
            Operation(
                "Proof that a later tree extends an earlier one",
                "proofs",
                query=Sizes,
                answer=ConsistencyProof,
                problems=(404,),
                may_lag=True,
            )
        ),
    )
    async def consistency(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A consistency proof."""
        sizes = read_query(request, Sizes)
        proof = await asyncio.to_thread(parts_of(request).book.consistency, sizes.old, sizes.new)
        texts = tuple(base64.b64encode(digest).decode() for digest in proof)
        return json_answer(ConsistencyProof(old=sizes.old, new=sizes.new, proof=texts))

    @get(
        "/tile/{place:path}",
        opt=described(
            Operation("A hash tile: {level}/{number}[.p/{width}]", "proofs", media=BYTES, problems=(404,), may_lag=True)
        ),
    )
    async def tile(self, request: Request[Any, Any, Any], place: FromPath[str]) -> Response[bytes]:
        """A C2SP hash tile."""
        address = parse_tile_path(f"tile/{place.strip('/')}")
        book = parts_of(request).book
        raw = await asyncio.to_thread(book.tile, address.level, address.tile_index, address.width)
        return file_answer(raw, BYTES, headers=_FOR_EVER)

    @get(
        "/tile/entries/{place:path}",
        opt=described(
            Operation(
                "A tile of entries: {number}[.p/{width}]",
                "proofs",
                action="entries",
                media=BYTES,
                problems=(404,),
                may_lag=True,
            )
        ),
    )
    async def entries_tile(self, request: Request[Any, Any, Any], place: FromPath[str]) -> Response[bytes]:
        """A C2SP entry bundle."""
        number, width = parse_entries_path(f"tile/entries/{place.strip('/')}")
        return file_answer(await asyncio.to_thread(parts_of(request).book.entries_tile, number, width), BYTES)

    @get(
        "/entries/{index:int}",
        opt=described(
            Operation(
                "One entry and its openings",
                "proofs",
                action="entries",
                answer=EntryView,
                problems=(404,),
                may_lag=True,
            )
        ),
    )
    async def entry(self, request: Request[Any, Any, Any], index: FromPath[int]) -> Response[bytes]:
        """An entry for a person."""
        return json_answer(await asyncio.to_thread(parts_of(request).book.entry, _small(index)))

    @get(
        "/entries/{index:int}/bytes",
        opt=described(
            Operation(
                "The bytes of an entry, as hashed",
                "proofs",
                action="entries",
                media=BYTES,
                problems=(404,),
                may_lag=True,
            )
        ),
    )
    async def entry_bytes(self, request: Request[Any, Any, Any], index: FromPath[int]) -> Response[bytes]:
        """An entry for a verifier: what its receipt is checked against."""
        return file_answer(await asyncio.to_thread(parts_of(request).book.entry_bytes, _small(index)), BYTES)


def _small(index: int) -> int:
    """An index that a store can be asked for. Raises NotFound."""
    if not 0 <= index < 2**53:
        raise NotFound("entry is not in the book", got=index, mend="ask for an index below the tree size")
    return index
