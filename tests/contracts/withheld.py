"""A way to a PostgreSQL server that stands still after so many pieces, as a stopped process does: open, and silent."""

from __future__ import annotations

import socket
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sqlalchemy.engine import make_url

PIECE = 1 << 16


class Withheld:
    """Passes on what each connection sends; ``url`` is the address of the database through it.

    ``hold_after`` pieces more, what a client sends stays here until ``release``; what the server answers goes through.
    """

    def __init__(self, folder: Path, url: str) -> None:
        """Listen in a folder of one's own, under the name of the server's socket."""
        server = make_url(url)
        name = f".s.PGSQL.{server.port or 5432}"
        self._server = f"{server.query['host']}/{name}"
        self.url = server.set(query={"host": str(folder)}).render_as_string(hide_password=False)
        self.holding = threading.Event()
        self._lock = threading.Lock()
        self._left: int | None = None
        self._released = threading.Event()
        self._sockets: list[socket.socket] = []
        self._listening = socket.socket(socket.AF_UNIX)
        self._listening.bind(str(folder / name))
        self._listening.listen()
        threading.Thread(target=self._accept, daemon=True).start()

    def hold_after(self, pieces: int) -> None:
        """Pass on so many pieces, and hold what comes then."""
        with self._lock:
            self.holding.clear()
            self._released.clear()
            self._left = pieces

    def release(self) -> None:
        """Pass on what was held, and all that comes."""
        with self._lock:
            self._left = None
            self._released.set()

    def close(self) -> None:
        """End every connection."""
        self.release()
        self._listening.shutdown(socket.SHUT_RDWR)
        for each in [self._listening, *self._sockets]:
            each.close()

    def _accept(self) -> None:
        # An address that was shut down accepts nobody more.
        with suppress(OSError):
            while True:
                client, _ = self._listening.accept()
                server = socket.socket(socket.AF_UNIX)
                server.connect(self._server)
                self._sockets += [client, server]
                for ends in ((client, server, self._wait_for_leave), (server, client, None)):
                    threading.Thread(target=_pass_on, args=ends, daemon=True).start()

    def _wait_for_leave(self) -> None:
        with self._lock:
            if self._left is None:
                return
            self._left -= 1
            if self._left >= 0:
                return
        self.holding.set()
        self._released.wait()


def _pass_on(source: socket.socket, target: socket.socket, wait_for_leave: Callable[[], None] | None) -> None:
    with suppress(OSError):
        while piece := source.recv(PIECE):
            if wait_for_leave is not None:
                wait_for_leave()
            target.sendall(piece)
    # However it ended: a server that goes with something unread resets its end, and the client must not wait on.
    with suppress(OSError):
        target.shutdown(socket.SHUT_WR)


@contextmanager
def withheld(url: str) -> Iterator[Withheld]:
    """Such a way, for the length of the block."""
    # A short path: a socket's path may have about 100 characters.
    with tempfile.TemporaryDirectory(prefix="pg-") as folder:
        way = Withheld(Path(folder), url)
        try:
            yield way
        finally:
            way.close()
