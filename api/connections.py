"""How many connections to its store one process of the service takes, so that no thread of it waits for one in vain.

A thread holds at most one at a time, so each has its own; they are opened as they are asked for.
"""

from typing import NamedTuple

from api.parts import WORKERS
from api.settings import Settings
from ledger.application.long_reads import ON_THREADS
from ledger.application.reading_process import READING_CONNECTIONS

LONE_THREADS = ("main", "writer", "duties", "publishing", "book-check", "import", "read-store")
"""Threads of the service that ask the store, and of which there is one each."""

ARCHIVE_LOOKS = 1
"""Of all threads one at a time may look for where archived entries lie while it holds a connection of its own."""


class Connections(NamedTuple):
    """``own``: of the process itself. ``all``: with those of the processes that read for it."""

    own: int
    all: int


def connections_of(settings: Settings) -> Connections:
    """The most that a service with these settings takes."""
    own = WORKERS + len(LONE_THREADS) + (settings.long_reads or ON_THREADS) + ARCHIVE_LOOKS
    # Each reading process may have a second one like itself beside it.
    return Connections(own, own + settings.long_reads * 2 * READING_CONNECTIONS)
