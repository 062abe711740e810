"""The disk under a service fails to write while it is under load: it ends at once, and lost nothing that it acknowledged."""

from __future__ import annotations

import resource
from pathlib import Path

import pytest

from ledger.store.writer import FLUSH_FAILED
from tests.stores import fresh_file
from tests.whole.load import Load, check_sent, check_whole
from tests.whole.serving import ServiceProcess, new_premises

ROOMS = (4_096, 60_000, 250_001)
"""Bytes that the write-ahead log may still grow by: writes then fail in the midst of a page, too."""


@pytest.mark.parametrize("room", ROOMS)
def test_a_service_whose_disk_fails_ends_and_starts_again(tmp_path: Path, room: int) -> None:
    """Once a write fails it answers nobody more and exits by its own status; the next start finds all it acknowledged."""
    if not hasattr(resource, "prlimit"):
        pytest.skip("limits of another process are set on Linux alone")
    premises = new_premises(tmp_path, fresh_file(tmp_path))
    load = Load(premises.token)
    service = ServiceProcess(premises)
    address = service.ready()
    running = load.start([address], 6)
    load.wait_for(20)
    written = Path(f"{premises.url.removeprefix('sqlite:///')}-wal").stat().st_size
    limit = (written + room, resource.getrlimit(resource.RLIMIT_FSIZE)[1])
    resource.prlimit(service.process.pid, resource.RLIMIT_FSIZE, limit)
    assert FLUSH_FAILED == service.stop_refused()
    running.join()
    check_sent(premises, load)
    again = ServiceProcess(premises)
    load.settle(again.ready())
    assert 0 == again.stop()
    check_whole(premises, load)
