"""The load: ``python -m ops.bench.client FOLDER ADDRESSES FIRST COUNT CONNECTIONS SECONDS``; prints one line of JSON.

ADDRESSES: one, or several with commas between, over which the connections are spread.

A process of its own, so that its work is not the server's.  Each connection sends the next registration as soon as it
has the answer to the one before; requests are made ready before the clock starts.  Bounded in count and in time.
"""

from __future__ import annotations

import asyncio
import sys
import time
from collections import deque
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import msgspec
import uvloop

from ops.bench.plant import Plant, read_plant, registrations


class Load(msgspec.Struct, frozen=True, kw_only=True):
    """What a load gave: answers per second; p50 and p99 as the client saw them, in milliseconds; the first wrong answer."""

    answered: int
    per_second: float
    p50_ms: float
    p99_ms: float
    wrong: str = ""


class _Connection(asyncio.Protocol):
    """One connection: a request, its answer, the next request."""

    def __init__(self, run: _Run) -> None:
        self._run = run
        self._read = b""
        self._sent = 0.0
        self._transport: Any = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = transport
        self._next()

    def data_received(self, data: bytes) -> None:
        self._read += data
        head, blank, body = self._read.partition(b"\r\n\r\n")
        if not blank or len(body) < _length(head):
            return
        self._run.answered(time.perf_counter() - self._sent, head, body)
        self._read = b""
        self._next()

    def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002  # the protocol names it so
        self._run.ended()

    def _next(self) -> None:
        request = self._run.next_request()
        if request is None:
            self._transport.close()
            return
        self._sent = time.perf_counter()
        self._transport.write(request)


class _Run:
    """The requests left, and the answers so far."""

    def __init__(self, requests: deque[bytes], connections: int, seconds: float) -> None:
        self._requests = requests
        self._open = connections
        self._until = time.perf_counter() + seconds
        self.times: list[float] = []
        self.wrong = ""
        self.last = 0.0
        self.done = asyncio.Event()

    def next_request(self) -> bytes | None:
        if not self._requests or self.wrong or time.perf_counter() > self._until:
            return None
        return self._requests.popleft()

    def answered(self, seconds: float, head: bytes, body: bytes) -> None:
        self.times.append(seconds)
        self.last = time.perf_counter()
        if not head.startswith(b"HTTP/1.1 201"):
            self.wrong = self.wrong or (head[:40] + b" " + body[:400]).decode("utf-8", "replace")

    def ended(self) -> None:
        self._open -= 1
        if self._open == 0:
            self.done.set()


async def load(addresses: Sequence[str], requests: deque[bytes], connections: int, seconds: float) -> Load:
    """Send the requests over so many connections until they are used up or the time is."""
    parts = [urlsplit(address) for address in addresses]
    began = time.perf_counter()
    run = _Run(requests, connections, seconds)
    loop = asyncio.get_running_loop()
    for number in range(connections):
        to = parts[number % len(parts)]
        await loop.create_connection(lambda: _Connection(run), to.hostname or "", to.port or 80)
    await asyncio.wait_for(run.done.wait(), seconds + 30)
    ordered = sorted(run.times) or [0.0]
    return Load(
        answered=len(run.times),
        per_second=len(run.times) / max(run.last - began, 1e-9),
        p50_ms=ordered[len(ordered) // 2] * 1e3,
        p99_ms=ordered[min(len(ordered) - 1, len(ordered) * 99 // 100)] * 1e3,
        wrong=run.wrong,
    )


def requests_of(plant: Plant, first: int, count: int) -> deque[bytes]:
    """Whole HTTP requests, one a ball."""
    made: deque[bytes] = deque()
    for key, records in registrations(plant, first, count):
        body = b'{"records":' + records + b"}"
        head = (
            f"POST /submissions HTTP/1.1\r\nhost: 127.0.0.1\r\nauthorization: Bearer {plant.token}\r\n"
            f"idempotency-key: {key}\r\ncontent-type: application/json\r\ncontent-length: {len(body)}\r\n\r\n"
        )
        made.append(head.encode() + body)
    return made


def _length(head: bytes) -> int:
    for line in head.lower().split(b"\r\n"):
        if line.startswith(b"content-length:"):
            return int(line.partition(b":")[2])
    return 0


if __name__ == "__main__":
    folder, addresses, first, count, connections, seconds = sys.argv[1:]
    ready = requests_of(read_plant(Path(folder)), int(first), int(count))
    print(msgspec.json.encode(uvloop.run(load(addresses.split(","), ready, int(connections), float(seconds)))).decode())
