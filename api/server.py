"""The HTTP server: uvicorn with uvloop and httptools, one process, stopped without losing what it was told.

On a stop it takes no new connection, lets requests at hand finish, and then the application closes the book.
"""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import uvicorn

from ledger.errors import StoreError, Unsupported

BACKLOG = 2048
KEEP_ALIVE_S = 30


class Server(uvicorn.Server):
    """A server that says when it takes requests."""

    def __init__(self, app: Any, *, stop_s: int, proxies: str = "", on_started: Callable[[], None]) -> None:
        """``stop_s``: how long requests at hand may take to finish. ``proxies``: addresses whose word on the client counts."""
        config = uvicorn.Config(
            app,
            loop="uvloop",
            http="httptools",
            ws="none",
            lifespan="on",
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=bool(proxies),
            forwarded_allow_ips=proxies or None,
            timeout_keep_alive=KEEP_ALIVE_S,
            timeout_graceful_shutdown=stop_s,
        )
        super().__init__(config)
        self._on_started = on_started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start, then say so."""
        await super().startup(sockets)
        if self.started:
            self._on_started()


def listening(host: str, port: int) -> socket.socket:
    """A socket that listens at an address; port 0 takes a free one. Raises Unsupported when it cannot be had."""
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        return socket.create_server((host, port), family=family, backlog=BACKLOG)
    except OSError as error:
        raise Unsupported(
            "address cannot be listened at",
            got=error.strerror or str(error),
            where=f"{host}:{port}",
            mend="choose another port, or stop what holds it",
        ) from error


def address_of(listener: socket.socket) -> str:
    """The address to open for a listening socket."""
    host, port = listener.getsockname()[:2]
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


@contextmanager
def serving(app: Any, *, host: str = "127.0.0.1", port: int = 0, stop_s: int = 20) -> Iterator[str]:
    """Serve on a thread for the length of the block; the address is given. Raises StoreError when it does not start."""
    started = threading.Event()
    with listening(host, port) as listener:
        server = Server(app, stop_s=stop_s, on_started=started.set)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, name="server", daemon=True)
        thread.start()
        try:
            while not started.wait(0.05):
                if not thread.is_alive():
                    raise StoreError("service did not start", mend="see its log for the cause")
            yield address_of(listener)
        finally:
            server.should_exit = True
            thread.join()
