"""Two service processes over one store, both under load: one order, no gap, no fork, no answer lost, even in a crash."""

from __future__ import annotations

import random
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest

from ledger.book.checkpoint import parse_checkpoint
from tests.whole.load import Load, check_sent, check_whole, connected
from tests.whole.main_job import Client
from tests.whole.serving import ServiceProcess, new_premises

BALLS = 400


def test_two_services_write_one_book(tmp_path: Path, url: str) -> None:
    """Balls sent to two processes at once are entered in one order, each answered once, by receipts of one history."""
    premises = new_premises(tmp_path, url)
    services = [ServiceProcess(premises), ServiceProcess(premises)]
    addresses = [service.ready() for service in services]
    load = Load(premises.token)
    load.start(addresses, 6, BALLS).join()
    deadline = time.monotonic() + 30
    last = max(found.entry for found in load.acknowledged.values())
    for address in addresses:
        # Each process signs for itself, and hears of the other's checkpoint once that is stored.
        while parse_checkpoint(httpx.get(f"{address}/checkpoint").content).tree_size <= last:
            assert time.monotonic() < deadline
        assert 200 == httpx.get(f"{address}/receipts/{last}").status_code
    assert [0, 0] == [service.stop() for service in services]
    assert (BALLS, set(), []) == (len(load.acknowledged), load.unknown, load.refused)
    check_whole(premises, load)
    entries = sorted(found.entry for found in load.acknowledged.values())
    assert list(range(entries[0], entries[0] + BALLS)) == entries


def test_one_key_sent_to_both_services_at_once_is_one_entry(tmp_path: Path, url: str) -> None:
    """The same ball sent to two processes at the same time is entered once, and both answer with that entry."""
    premises = new_premises(tmp_path, url)
    services = [ServiceProcess(premises), ServiceProcess(premises)]
    addresses = [service.ready() for service in services]
    loads = [Load(premises.token), Load(premises.token)]
    connections = [connected(address) for address in addresses]
    with ThreadPoolExecutor(2) as both:
        for ball in range(1, 41):
            sent = [both.submit(load.send, at, ball) for load, at in zip(loads, connections, strict=True)]
            assert [True, True] == [one.result() for one in sent]
    for connection in connections:
        connection.close()
    assert [0, 0] == [service.stop() for service in services]
    answers = [{ball: found.entry for ball, found in load.acknowledged.items()} for load in loads]
    assert (answers[0], 40) == (answers[1], len(answers[0]))
    firsts = [not found.repeated for load in loads for found in load.acknowledged.values()]
    assert 40 == sum(firsts)
    for load in loads:
        check_whole(premises, load)


def test_serials_are_allotted_once_across_services(tmp_path: Path, url: str) -> None:
    """Two processes asked for serials at once never give one twice; a retry at the other process gives the same again."""
    premises = new_premises(tmp_path, url, [])
    services = [ServiceProcess(premises), ServiceProcess(premises)]
    clients = [Client(service.ready(), premises.token) for service in services]

    def allot(number: int, way: int) -> httpx.Response:
        return clients[way].post("/serials", {"station": "E1", "count": 5}, key=f"serials-{number}")

    with ThreadPoolExecutor(4) as stations:
        answers = list(stations.map(lambda number: allot(number, number % 2), range(40)))
    again = [allot(number, 1 - number % 2) for number in range(40)]
    for client in clients:
        client.http.close()
    assert [0, 0] == [service.stop() for service in services]
    assert {201} == {answer.status_code for answer in answers}, [answer.text for answer in answers]
    given = [serial for answer in answers for serial in answer.json()["serials"]]
    assert 200 == len(set(given))
    assert [answer.json()["serials"] for answer in answers] == [answer.json()["serials"] for answer in again]
    premises.check()


@pytest.mark.parametrize("kills", [2, pytest.param(6, marks=pytest.mark.full)])
def test_a_killed_service_does_not_harm_the_other(tmp_path: Path, url: str, kills: int) -> None:
    """Of two processes on one store one is killed: the other goes on, and answers for what the dead one entered."""
    dice = random.Random(20260303)
    premises = new_premises(tmp_path, url)
    load = Load(premises.token)
    living = ServiceProcess(premises)
    address = living.ready()
    for _ in range(kills):
        since = max(load.acknowledged, default=0)
        doomed = ServiceProcess(premises)
        running = load.start([address, doomed.ready()], 6)
        load.wait_for(dice.randint(1, 60))
        doomed.kill()
        load.wait_for(20)
        running.stop()
        check_sent(premises, load, since)
        load.settle(address)
    assert 0 == living.stop()
    check_whole(premises, load)
