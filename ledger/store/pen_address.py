"""Where the pen's holder listens: a socket of this machine, named in a folder.

The name of such a socket may have about 100 bytes, and paths are longer; so it is named by way of the folder, opened.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Callable


def listening(address: bytes) -> socket.socket:
    """A socket that listens there, for the owner of the folder. Raises OSError."""
    made = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        _shortened(address, made.bind)
        made.listen()
    except OSError:
        made.close()
        raise
    return made


def connecting(address: bytes, within_s: float) -> socket.socket:
    """A connection to whoever listens there. Raises OSError."""
    made = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        made.settimeout(within_s)
        _shortened(address, made.connect)
    except OSError:
        made.close()
        raise
    return made


def _shortened(address: bytes, use: Callable[[bytes], None]) -> None:
    folder, name = os.path.split(address)
    opened = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        use(b"/proc/self/fd/%d/%b" % (opened, name))
    finally:
        os.close(opened)
