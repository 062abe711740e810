"""The service over a demo folder, as a process of its own: ``python -m ops.demo_walk.server_process FOLDER``.

It is the service as `pourbook serve` runs it, but for its clock, which goes on from where the story of the plant ends.
It prints its address, serves until SIGTERM, and also stops when whoever started it is gone.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from pathlib import Path

from api.app import create_app
from api.delivery import Delivery
from api.server import Server, address_of, listening
from api.settings import Settings
from fixtures_demo.plant import demo_signers
from ledger.application.pourbook import open_book
from ops.demo_walk.folder import DemoFolder


def serve(folder: Path) -> int:
    """Serve the demo book of a folder at a free loopback port until told to stop; 0 when it had started."""
    demo = DemoFolder(folder).read()
    began = time.monotonic()
    delivery = Delivery()
    settings = Settings(store_url=demo.url, port=0, label_stem=demo.label_stem)
    with listening(settings.host, settings.port) as listener:
        book = open_book(
            demo.url,
            origin=demo.origin,
            signers=demo_signers(demo.seed),
            label_stem=demo.label_stem,
            clock_ms=lambda: demo.now_ms + int((time.monotonic() - began) * 1000),
            deliver=delivery,
        )
        book.start()
        server = Server(
            create_app(book, settings, delivery),
            stop_s=settings.stop_s,
            on_started=lambda: print(address_of(listener), flush=True),
        )
        signal.signal(signal.SIGTERM, lambda _signal, _frame: None)
        threading.Thread(target=_stop_with_parent, daemon=True).start()
        server.run(sockets=[listener])
    return 0 if server.started else 1


def _stop_with_parent() -> None:
    """Standard input ends when the process that started this one does."""
    while os.read(0, 1024):
        pass
    os.kill(os.getpid(), signal.SIGTERM)


if __name__ == "__main__":
    sys.exit(serve(Path(sys.argv[1])))
