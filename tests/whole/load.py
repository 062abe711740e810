"""Balls registered over HTTP from several threads at once, and what became of each: answered, or not known."""

from __future__ import annotations

import http.client
import itertools
import json
import threading
from typing import NamedTuple
from urllib.parse import urlsplit

import msgspec

from ledger.book import merkle
from ledger.book.entry import GENESIS_HASH, check_links, parse_entry
from ledger.book.receipt import check_receipt, parse_receipt
from ledger.line.rows import SerialRow, Unit
from ledger.store.engine import open_store
from ledger.store.reader import Reader, open_reader
from tests.plant import ORIGIN, registration
from tests.whole.serving import Premises


class Acknowledged(NamedTuple):
    """What a service answered for a ball."""

    ball: int
    entry: int
    receipt: str
    repeated: bool


class Load:
    """Threads that register balls; numbers go on from one run to the next, so every ball is sent under one key."""

    def __init__(self, token: str) -> None:
        """Nothing was sent yet."""
        self.acknowledged: dict[int, Acknowledged] = {}
        self.unknown: set[int] = set()
        self.refused: list[str] = []
        self._token = token
        self._numbers = itertools.count(1)
        self._lock = threading.Condition()

    def start(self, addresses: list[str], threads: int, balls: int = 10**9) -> Running:
        """Register ``balls`` balls, or until every service is gone; each thread keeps to one address."""
        return Running(self, [addresses[number % len(addresses)] for number in range(threads)], balls)

    def next_ball(self) -> int:
        """A number that was not sent before."""
        with self._lock:
            return next(self._numbers)

    def send(self, connection: http.client.HTTPConnection, ball: int) -> bool:
        """Register one ball; False when the service went away before it answered."""
        body = json.dumps({"records": msgspec.to_builtins(registration(ball).records)})
        headers = {
            "authorization": f"Bearer {self._token}",
            "idempotency-key": registration(ball).key,
            "content-type": "application/json",
        }
        try:
            connection.request("POST", "/submissions", body, headers)
            answer = connection.getresponse()
            raw = answer.read()
        except (OSError, http.client.HTTPException):
            with self._lock:
                self.unknown.add(ball)
            return False
        with self._lock:
            self._note(ball, answer.status, raw)
            self._lock.notify_all()
        return True

    def wait_for(self, more: int) -> None:
        """Wait until so many more balls are acknowledged."""
        with self._lock:
            enough = len(self.acknowledged) + more
            assert self._lock.wait_for(lambda: len(self.acknowledged) >= enough, 60)

    def _note(self, ball: int, status: int, raw: bytes) -> None:
        if status == 503:
            # The service is going down, or waited too long for a lock: not known, and to be sent again.
            self.unknown.add(ball)
        elif status in {200, 201}:
            said = json.loads(raw)
            found = Acknowledged(ball, said["entry"], said["receipt"], said["repeated"])
            known = self.acknowledged.setdefault(ball, found)
            if known.entry != found.entry:
                self.refused.append(f"ball {ball} is entry {known.entry} and {found.entry}")
            self.unknown.discard(ball)
        else:
            self.refused.append(f"{status} {raw[:300]!r}")

    def settle(self, address: str) -> int:
        """Send all that is not known again, with the keys that it had; how many turn out to have been entered."""
        before = sorted(self.unknown)
        connection = connected(address)
        for ball in before:
            assert self.send(connection, ball)
        connection.close()
        assert (set(), []) == (self.unknown, self.refused)
        return sum(self.acknowledged[ball].repeated for ball in before)


class Running:
    """A load on its way."""

    def __init__(self, load: Load, addresses: list[str], balls: int) -> None:
        """Start a thread for each address given."""
        self._load = load
        self._left = itertools.count(1)
        self._balls = balls
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._register, args=(address,)) for address in addresses]
        for thread in self._threads:
            thread.start()

    def _register(self, address: str) -> None:
        connection = connected(address)
        while not self._stop.is_set() and next(self._left) <= self._balls:
            if not self._load.send(connection, self._load.next_ball()):
                break
        connection.close()

    def join(self) -> None:
        """Wait until every thread has ended by itself."""
        for thread in self._threads:
            thread.join(120)
        assert not any(thread.is_alive() for thread in self._threads)

    def stop(self) -> None:
        """Let each thread end after the ball at hand."""
        self._stop.set()
        self.join()


def connected(address: str) -> http.client.HTTPConnection:
    """A connection of one's own to a service; made with the first request."""
    return http.client.HTTPConnection(urlsplit(address).netloc, timeout=60)


def check_sent(premises: Premises, load: Load, since: int = 0) -> None:
    """Check, in the store itself, every ball from number ``since`` on: acknowledged ones stand once, others whole or not."""
    store = open_store(premises.url, migrate=False)
    try:
        with open_reader(store) as reader:
            balls = [ball for ball in load.acknowledged if ball >= since]
            entries = _entries_of(reader, balls)
            assert {ball: load.acknowledged[ball].entry for ball in balls} == entries
            for ball, index in _entries_of(reader, sorted(load.unknown)).items():
                assert registration(ball).key == parse_entry(reader.entry(index).bytes).said.key
    finally:
        store.close()


def _entries_of(reader: Reader, balls: list[int]) -> dict[int, int]:
    """The entry of each ball that is in the book; its unit, its serial and its request must all be there, or none."""
    names = {ball: (f"U-{ball:06d}", f"P{ball:06d}") for ball in balls}
    units = reader.rows_of(Unit, "unit", [unit for unit, _ in names.values()])
    serials = reader.rows_of(SerialRow, "serial", [serial for _, serial in names.values()])
    keys = [registration(ball).key for ball in balls]
    marks = reader.transaction.dialect.any_of('"key"')
    requests = dict(
        reader.transaction.rows_of(f'SELECT "key", "index" FROM "request" WHERE {marks}', keys)  # noqa: S608  # no value
    )
    found: dict[int, int] = {}
    for ball, (unit, serial) in names.items():
        index = requests.get(registration(ball).key)
        rows = (len(units[unit]), len(serials[serial]))
        assert rows == ((0, 0) if index is None else (1, 1))
        if index is not None:
            found[ball] = index
    return found


def check_whole(premises: Premises, load: Load) -> None:
    """Check the whole book and that it holds each ball once, under receipts that are all of this one history."""
    premises.check()
    store = open_store(premises.url, migrate=False)
    with open_reader(store) as reader:
        raws = [entry.bytes for entry in reader.entries(0, reader.head().size)]
    store.close()
    hashes = check_links(GENESIS_HASH, 0, raws)
    keys = [parse_entry(raw).said.key for raw in raws]
    assert len(keys) == len(set(keys))
    assert {ball: registration(ball).key for ball in load.acknowledged} == {
        ball: keys[found.entry] for ball, found in load.acknowledged.items()
    }
    roots: dict[int, bytes] = {}
    for found in load.acknowledged.values():
        checkpoint = parse_receipt(found.receipt).checkpoint
        check_receipt(found.receipt, raws[found.entry], [premises.verifier], ORIGIN)
        assert roots.setdefault(checkpoint.tree_size, checkpoint.root_hash) == checkpoint.root_hash
    for size, root in roots.items():
        assert merkle.root(hashes[:size]) == root
