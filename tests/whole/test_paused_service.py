"""One of two services under load is paused (SIGSTOP) for as long as the other needs: one book, no answer lost."""

from __future__ import annotations

import os
import random
import signal
from pathlib import Path

import pytest

from tests.whole.load import Load, check_sent, check_whole, connected
from tests.whole.serving import ServiceProcess, new_premises


def pause(service: ServiceProcess) -> None:
    """Stop a process, and wait until it stands still."""
    service.process.send_signal(signal.SIGSTOP)
    _, status = os.waitpid(service.process.pid, os.WUNTRACED)
    assert os.WIFSTOPPED(status)


@pytest.mark.parametrize("pauses", [3, pytest.param(20, marks=pytest.mark.full)])
def test_a_paused_service_harms_no_other(tmp_path: Path, url: str, pauses: int) -> None:
    """On PostgreSQL the other writes on; on SQLite it may be told that the store is locked. After it all is one book."""
    dice = random.Random(20260304)
    premises = new_premises(tmp_path, url)
    load = Load(premises.token)
    living, paused = ServiceProcess(premises), ServiceProcess(premises)
    addresses = [living.ready(), paused.ready()]
    connection = connected(addresses[0])
    for _ in range(pauses):
        since = max(load.acknowledged, default=0)
        running = load.start(addresses, 6)
        load.wait_for(dice.randint(1, 60))
        pause(paused)
        if url.startswith("postgresql"):
            load.wait_for(30)
        else:
            # It stands still with the lock, or without: the other is answered either way.
            assert load.send(connection, load.next_ball())
        paused.process.send_signal(signal.SIGCONT)
        load.wait_for(20)
        running.stop()
        load.settle(addresses[0])
        check_sent(premises, load, since)
    connection.close()
    assert [0, 0] == [living.stop(), paused.stop()]
    check_whole(premises, load)
