"""Services that share a pen, under load: the one that enters for all is killed, paused or stopped, and no answer is lost."""

from __future__ import annotations

import random
import signal
import time
from pathlib import Path

import httpx
import pytest

from ledger.book.checkpoint import parse_checkpoint
from tests.whole.load import Load, check_sent, check_whole, connected
from tests.whole.serving import ServiceProcess, new_premises
from tests.whole.test_paused_service import pause

BALLS = 300


def told(address: str, token: str) -> tuple[int, int]:
    """Whether a service says that it holds the pen, and how many entries it entered itself."""
    text = httpx.get(f"{address}/metrics", headers={"authorization": f"Bearer {token}"}).text
    words = dict(line.rsplit(" ", 1) for line in text.splitlines() if not line.startswith("#"))
    return int(words["pourbook_holds_pen"]), int(words["pourbook_entries_entered_total"])


def test_one_service_enters_what_three_are_told(tmp_path: Path, url: str) -> None:
    """Balls sent to three services are one order without a gap, entered by one of them, and each comes to know the newest checkpoint."""
    premises = new_premises(tmp_path, url).sharing_a_pen()
    services = [ServiceProcess(premises) for _ in range(3)]
    addresses = [service.ready() for service in services]
    load = Load(premises.token)
    load.start(addresses, 6, BALLS).join()
    assert (BALLS, set(), []) == (len(load.acknowledged), load.unknown, load.refused)
    assert [(0, 0), (0, 0), (1, BALLS)] == sorted(told(address, premises.token) for address in addresses)
    last = max(found.entry for found in load.acknowledged.values())
    deadline = time.monotonic() + 30
    for address in addresses:
        # It knows the holder's checkpoint from the answers, and of what it did not ask for once that is stored.
        while parse_checkpoint(httpx.get(f"{address}/checkpoint").content).tree_size <= last:
            assert time.monotonic() < deadline
    assert [0, 0, 0] == [service.stop() for service in services]
    check_whole(premises, load)


@pytest.mark.parametrize("kills", [2, pytest.param(8, marks=pytest.mark.full)])
def test_the_holder_is_killed_and_another_takes_the_pen(tmp_path: Path, url: str, kills: int) -> None:
    """The holder is killed under load: what it acknowledged stands once, and those that passed on to it miss nothing."""
    dice = random.Random(20261201)
    premises = new_premises(tmp_path, url).sharing_a_pen()
    load = Load(premises.token)
    holder = ServiceProcess(premises)
    holder.ready()
    for _ in range(kills):
        since = max(load.acknowledged, default=0)
        other = ServiceProcess(premises)
        address = other.ready()
        running = load.start([address], 6)
        load.wait_for(dice.randint(1, 60))
        holder.kill()
        load.wait_for(20)
        running.stop()
        # Every ball went to the service that lives, which answers for the dead one's entries too.
        assert (set(), []) == (load.unknown, load.refused)
        check_sent(premises, load, since)
        holder = other
    assert 0 == holder.stop()
    check_whole(premises, load)


@pytest.mark.parametrize("pauses", [1, pytest.param(6, marks=pytest.mark.full)])
def test_a_holder_that_stands_still_is_left_until_it_goes_on(tmp_path: Path, url: str, pauses: int) -> None:
    """The holder is paused under load: the other enters its own, on PostgreSQL at once, on SQLite as soon as no lock stands."""
    dice = random.Random(20261202)
    premises = new_premises(tmp_path, url).sharing_a_pen()
    load = Load(premises.token)
    holder = ServiceProcess(premises)
    holder.ready()
    other = ServiceProcess(premises)
    address = other.ready()
    connection = connected(address)
    for _ in range(pauses):
        since = max(load.acknowledged, default=0)
        running = load.start([address], 6)
        load.wait_for(dice.randint(1, 60))
        pause(holder)
        if url.startswith("postgresql"):
            load.wait_for(30)
        else:
            # It stands still with the file's lock, or without: whoever asks is answered either way.
            assert load.send(connection, load.next_ball())
        holder.process.send_signal(signal.SIGCONT)
        load.wait_for(20)
        running.stop()
        load.settle(address)
        check_sent(premises, load, since)
    connection.close()
    assert [0, 0] == [holder.stop(), other.stop()]
    check_whole(premises, load)


def test_services_are_stopped_in_turn_under_load(tmp_path: Path, url: str) -> None:
    """An upgrade in turn: the holder is stopped, and the balls sent to the other are all answered, none of them refused."""
    premises = new_premises(tmp_path, url).sharing_a_pen()
    load = Load(premises.token)
    holder, other = ServiceProcess(premises), ServiceProcess(premises)
    holder.ready()
    address = other.ready()
    running = load.start([address], 6)
    load.wait_for(30)
    assert 0 == holder.stop()
    load.wait_for(30)
    running.stop()
    assert (set(), []) == (load.unknown, load.refused)
    assert 0 == other.stop()
    check_whole(premises, load)


def test_a_folder_that_others_may_enter_stops_the_start(tmp_path: Path, url: str) -> None:
    """The service says which folder it is and what would mend it, and does not start."""
    premises = new_premises(tmp_path, url).sharing_a_pen()
    Path(premises.pen).mkdir()
    Path(premises.pen).chmod(0o755)
    service = ServiceProcess(premises)
    assert 0 != service.stop_refused()
    log = service.log.read_text("utf-8")
    assert f"{premises.pen}: folder of the pen is open to others" in log, log
    assert f"chmod 700 {premises.pen}" in log
    assert "Traceback" not in log
    assert [] == list(Path(premises.pen).iterdir())
