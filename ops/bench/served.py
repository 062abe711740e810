"""A server to measure, as a process: ``python -m ops.bench.served FOLDER KIND [PEN]``; prints its address when it is ready.

Kinds: ``product``, the service itself; ``single``, the same with one submission a commit; ``raw``, an empty route of the
same framework behind the same server, whose writer thread takes what waits and writes recorded rows in one commit.
``PEN``: the folder in which several of them share a pen.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from api.app import create_app
from api.delivery import Delivery
from api.server import Server, address_of, listening
from api.settings import Settings
from ops.bench.plant import LABEL_STEM, open_plant, read_plant
from ops.bench.raw_route import raw_app
from ops.collector import settle_collector


def main(folder: Path, kind: str, pen: Path | None = None) -> None:
    """Serve until SIGTERM."""
    with listening("127.0.0.1", 0) as listener:
        app = raw_app(folder) if kind == "raw" else product_app(folder, pen, single=kind == "single")
        settle_collector()
        server = Server(app, stop_s=5, on_started=lambda: print(address_of(listener), flush=True))
        server.run(sockets=[listener])


def product_app(folder: Path, pen: Path | None = None, *, single: bool) -> Any:
    """The service over the book in a folder; ``single``: one submission a commit."""
    plant = read_plant(folder)
    delivery = Delivery()
    book = open_plant(plant, pen, deliver=delivery)
    if single:
        # The one thing that is changed: no option of the product does so, since nobody should want it.
        book._writer._limit = 1  # noqa: SLF001
    # One client asks for everything here, so the limit for an address is lifted.
    settings = Settings(store_url=plant.url, label_stem=LABEL_STEM, public_per_minute=1_000_000, public_burst=100_000)
    return create_app(book, settings, delivery)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], *map(Path, sys.argv[3:]))
