"""`pourbook directory serve --plants FILE`: whose serial is this, for others over HTTP.

It keeps nothing, has no key, and reads the file once, at its start (`api/directory/app.py` has its addresses).  Who may
reach it can have it ask the plants of the file, and no other address.  It speaks plain http and expects a proxy with https
before it.
"""

from __future__ import annotations

import argparse
import signal
from pathlib import Path

from api.directory.app import Limits, directory_app
from api.outgoing import Outgoing
from api.server import Server, address_of, listening
from ledger.errors import MalformedInput
from ops.commands.directory import read_plants


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the directory, the address and the limits."""
    parser.add_argument("--plants", type=Path, required=True, metavar="FILE", help="the directory of plants, TOML")
    parser.add_argument("--host", default="127.0.0.1", help="the address to listen at")
    parser.add_argument("--port", type=int, default=8780, help="the port; 0 takes a free one")
    parser.add_argument("--seconds", type=float, default=5.0, help="for each request to a plant, as a whole (5)")
    parser.add_argument(
        "--per-minute", type=int, default=Limits().per_minute, help="questions a minute from one address"
    )


def run(arguments: argparse.Namespace) -> int:
    """Answer until stopped; 0, or an error of the tree in `ledger.errors`."""
    plants = read_plants(arguments.plants)
    if not 0 < arguments.seconds <= 300 or arguments.per_minute < 1:
        raise MalformedInput("limit is out of range", expected="--seconds above 0, at most 300; --per-minute 1 or more")
    limits = Limits(per_minute=arguments.per_minute, burst=max(20, arguments.per_minute // 10))
    with listening(arguments.host, arguments.port) as listener:
        print(f"directory of {len(plants)} plants at {address_of(listener)} (Ctrl-C stops it)", flush=True)
        app = directory_app(plants, Outgoing(arguments.seconds), limits)
        server = Server(app, stop_s=10, on_started=lambda: print("ready", flush=True))
        # The server raises the signal again once it has stopped; by then there is nothing left to end.
        signal.signal(signal.SIGTERM, lambda _signal, _frame: None)
        server.run(sockets=[listener])
    return 0 if server.started else 1
