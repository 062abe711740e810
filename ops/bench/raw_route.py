"""The floor of a durable route: read the body, wait for the group's commit, answer bytes. No checks, no receipt."""

import asyncio
import pickle
import queue
import threading
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from litestar import Litestar, Request, Response, get, post

from api.histogram import Histogram
from ops.bench.drivers import one_value
from ops.bench.raw_inserts import RawInserts
from ops.bench.storage import url_of

ROWS = "rows.pickle"
"""The recorded rows, beside the copy of the book that they are written to."""

GROUP_LIMIT = 256
_ANSWER = b"{" + b" " * 1_400 + b"}"
"""About as long as the product's own answer with its receipt."""


class Sequencer:
    """One thread that writes what waits, a group a commit, as the product's writer does."""

    def __init__(self, inserts: RawInserts) -> None:
        """Nothing runs before ``start``."""
        self._inserts = inserts
        self._waiting: queue.SimpleQueue[asyncio.Future[None] | None] = queue.SimpleQueue()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self, loop: asyncio.AbstractEventLoop) -> None:
        """Write for the waiters of a loop."""
        self._loop = loop
        self._thread.start()

    def stop(self) -> None:
        """Write what waits, and end."""
        self._waiting.put(None)
        self._thread.join()
        self._inserts.close()

    def wait(self) -> asyncio.Future[None]:
        """A future that is done once one more entry is on the disk."""
        future: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._waiting.put(future)
        return future

    def _run(self) -> None:
        while (first := self._waiting.get()) is not None:
            group = [first]
            while len(group) < GROUP_LIMIT and not self._waiting.empty():
                another = self._waiting.get()
                if another is None:
                    self._waiting.put(None)
                    break
                group.append(another)
            enough = self._inserts.write(len(group)) == len(group)
            if self._loop is not None:
                self._loop.call_soon_threadsafe(_settle, group, enough)


def _settle(group: list[asyncio.Future[None]], enough: bool) -> None:  # noqa: FBT001  # called through the loop
    for future in group:
        if future.done():
            continue
        if enough:
            future.set_result(None)
        else:
            future.set_exception(RuntimeError("the recorded rows are used up"))


def raw_app(folder: Path) -> Litestar:
    """The application; it writes the rows recorded in the folder from the first one that is not there yet."""
    skipped, written = read_rows(folder)
    sequencer = Sequencer(RawInserts(url_of(folder), iter(written[skipped:])))
    histogram = Histogram()

    @asynccontextmanager
    async def lifespan(_app: Litestar) -> AsyncIterator[None]:
        """Write while the application runs."""
        sequencer.start(asyncio.get_running_loop())
        yield
        await asyncio.to_thread(sequencer.stop)

    @post("/submissions")
    async def submit(request: Request[Any, Any, Any]) -> Response[bytes]:
        """Answer once one more entry is on the disk."""
        began = time.perf_counter()
        await request.body()
        await sequencer.wait()
        histogram.observe(time.perf_counter() - began)
        return Response(content=_ANSWER, media_type="application/json", status_code=201)

    @get("/metrics")
    async def metrics() -> Response[bytes]:
        """The histogram, as the product gives it."""
        return Response(content=histogram.exposition().encode(), media_type="text/plain")

    return Litestar([submit, metrics], lifespan=[lifespan], openapi_config=None, logging_config=None)


def keep_rows(folder: Path, written: list[Any], first_index: int) -> None:
    """Keep recorded rows beside the copy they belong to; ``first_index`` is the index of the first entry."""
    (folder / ROWS).write_bytes(pickle.dumps((first_index, written), protocol=5))


def read_rows(folder: Path) -> tuple[int, list[Any]]:
    """How many of the recorded entries are in the copy already, and all of them."""
    first_index, written = pickle.loads((folder / ROWS).read_bytes())  # noqa: S301  # written by this program
    return one_value(url_of(folder), 'SELECT "size" FROM "head"') - first_index, written
