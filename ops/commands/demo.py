"""`pourbook demo`: the main job on an invented plant, step by step in the terminal. `bash ops/demo` calls it.

It asks nothing, and opens a browser with ``--open`` alone. It ends by itself with ``--once``; else the service stays up
until Ctrl-C, with its pages.
"""

from __future__ import annotations

import argparse
import signal
from pathlib import Path
from types import FrameType

from fixtures_demo.plant import SEED
from ops.demo_walk.folder import DEFAULT, DemoFolder
from ops.demo_walk.screen import Screen
from ops.demo_walk.walk import walk


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the walk may be told."""
    parser.add_argument("--once", action="store_true", help="end after the walk, and stop the service")
    parser.add_argument("--open", dest="opens", action="store_true", help="show the pages in a browser after the walk")
    parser.add_argument("--folder", type=Path, default=DEFAULT, help="where its data lies (default: .pourbook/demo)")
    parser.add_argument("--seed", type=int, default=SEED, help="the chance that the plant is made of")


def run(arguments: argparse.Namespace) -> int:
    """Walk; 0, or an error of the tree in `ledger.errors`. SIGTERM ends it as Ctrl-C does."""
    signal.signal(signal.SIGTERM, _interrupt)
    folder = DemoFolder(arguments.folder.resolve())
    return walk(folder, Screen(), seed=arguments.seed, once=arguments.once, opens=arguments.opens)


def _interrupt(_signal: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt
