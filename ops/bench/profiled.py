"""The service with its parts timed, as a process: ``python -m ops.bench.profiled FOLDER FILE``; prints its address.

On SIGTERM it writes what each part took into the file, as JSON.
"""

from __future__ import annotations

import signal
import sys
import time
from pathlib import Path

import msgspec

from api.server import Server, address_of, listening
from ops.bench.drivers import one_value
from ops.bench.parts_timed import REST_LOOP, PartsClock, PartsTaken
from ops.bench.served import product_app
from ops.bench.storage import url_of
from ops.collector import settle_collector

_SIZE = 'SELECT "size" FROM "head"'
_LOOKS = 100_000


def main(folder: Path, file: Path) -> None:
    """Serve until SIGTERM, then write."""
    # The server stops by the signal, and then sends it to this process once more.
    signal.signal(signal.SIGTERM, lambda *_: None)
    clock = PartsClock()
    clock.wrap_places()
    started: list[float] = []
    before = one_value(url_of(folder), _SIZE)
    with listening("127.0.0.1", 0) as listener:
        app = product_app(folder, single=False)
        settle_collector()

        def on_started() -> None:
            started.append(time.thread_time())
            print(address_of(listener), flush=True)

        Server(app, stop_s=5, on_started=on_started).run(sockets=[listener])
    in_loop = time.thread_time() - started[0]
    file.write_bytes(msgspec.json.encode(_taken(clock, in_loop, one_value(url_of(folder), _SIZE) - before)))


def _taken(clock: PartsClock, in_loop: float, entries: int) -> PartsTaken:
    """The loop runs on this thread: what none of its parts took is the framework's."""
    looks, own = clock.looks, clock.own_sums()
    began = time.thread_time()
    for _ in range(_LOOKS):
        time.thread_time_ns()
    look_s = (time.thread_time() - began) / _LOOKS
    parts = {part: took / 1e9 for part, took in clock.sums().items()}
    parts[REST_LOOP] = max(0.0, in_loop - sum(own.values()) / 1e9)
    return PartsTaken(parts=parts, entries=entries, clock_s=looks * look_s)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
