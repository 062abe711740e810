"""A service that is killed at any moment loses nothing that it acknowledged, halves nothing, and starts again."""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest

from tests.stores import fresh_file
from tests.whole.load import Load, check_sent, check_whole
from tests.whole.serving import ServiceProcess, new_premises

THREADS = 6


def kill_once(service: ServiceProcess, load: Load, dice: random.Random) -> None:
    """Load a service, and kill it at some moment among its first balls; one time in eight already while it starts."""
    if dice.random() < 0.125:
        time.sleep(dice.uniform(0.0, 1.5))
        service.kill()
        return
    address = service.ready()
    load.settle(address)
    running = load.start([address], THREADS)
    load.wait_for(dice.randint(0, 60))
    # Some moment between two answers, too.
    time.sleep(dice.uniform(0.0, 0.02))
    service.kill()
    running.join()


@pytest.mark.parametrize("kills", [20, pytest.param(200, marks=pytest.mark.full)])
def test_a_killed_service_keeps_what_it_acknowledged(tmp_path: Path, kills: int) -> None:
    """After each kill every acknowledged ball is there once, every other one wholly or not at all, and it starts again."""
    dice = random.Random(20260302)
    premises = new_premises(tmp_path, fresh_file(tmp_path))
    load = Load(premises.token)
    service = ServiceProcess(premises)
    for _ in range(kills):
        since = max(load.acknowledged, default=0)
        kill_once(service, load, dice)
        # The next one starts while this is looked at; it takes nothing before it is sent something.
        service = ServiceProcess(premises)
        check_sent(premises, load, since)
    load.settle(service.ready())
    assert 0 == service.stop()
    check_whole(premises, load)
    assert len(load.acknowledged) > kills
