"""Questions that a process which reads passes on to the one beside it."""

from __future__ import annotations

import os
import socket
from typing import Any

from ledger.application.reading_process import Inside

_held: list[socket.socket] = []


def process_id(_inside: Inside) -> int:
    """The process that answers."""
    return os.getpid()


def holds_open_beside(inside: Inside, path: str) -> Any:
    """The id of the process beside, which connects to a socket and holds it open as long as it lives."""
    assert inside.beside is not None
    return inside.beside.begin(_holds_open, path).result(60)


def _holds_open(_inside: Inside, path: str) -> int:
    _held.append(socket.socket(socket.AF_UNIX))
    _held[-1].connect(path)
    return os.getpid()
