"""An answer that a process of its own writes to a temporary file first, and that goes out from there in pieces.

So a refusal is still a refusal, and memory stays bounded.  The file has no name: nothing of it outlasts the service.
"""

import asyncio
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future
from typing import IO, Any, BinaryIO, cast

from litestar.response import Stream

PIECE_BYTES = 262_144


async def sent_file(write: Callable[[BinaryIO], Future[Any]], media_type: str, headers: Mapping[str, str]) -> Stream:
    """Wait until ``write`` has filled the file, then send it. Raises what it raises."""
    spool = tempfile.TemporaryFile()  # noqa: SIM115  # closed when the last piece has gone
    try:
        await asyncio.wrap_future(write(cast(BinaryIO, spool)))  # it has every method of one
    except BaseException:
        spool.close()
        raise
    length = spool.seek(0, os.SEEK_END)
    return Stream(_pieces(spool, length), media_type=media_type, headers={**headers, "content-length": str(length)})


def _pieces(spool: IO[bytes], length: int) -> Iterator[bytes]:
    with spool:
        spool.seek(0)
        while length > 0 and (piece := spool.read(PIECE_BYTES)):
            length -= len(piece)
            if length <= 0:
                # Whoever has got the last piece asks for no other, and may be gone.
                spool.close()
            yield piece
