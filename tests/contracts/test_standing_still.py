"""A writing process that is stopped (SIGSTOP) for as long as one likes: what another does meanwhile, and what it does then."""

from __future__ import annotations

import itertools
import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from ledger.errors import StoreUnavailable
from ledger.store.engine import Store, open_store
from ledger.store.writer import Writer
from tests.contracts.test_two_writers import check_one_book
from tests.contracts.withheld import withheld
from tests.plant import line_start, new_writer, opening, registration
from tests.stores import fresh_database, open_impatient

BUSY_MS = 2_000

CHILD = """
import json, signal, sys, threading
from ledger.store.engine import Store, open_store
from tests.plant import new_writer, registration

def stand_still():
    # Sent to the thread, the signal is taken by this very one before it goes on; to the process, by any, a little later.
    signal.pthread_kill(threading.get_ident(), signal.SIGSTOP)

class Standing(Store):
    still = False

    def commit(self, transaction):
        # Everything is written and nothing committed: the head is locked.
        if self.still:
            self.still = False
            stand_still()
        super().commit(transaction)

opened = open_store(sys.argv[1], busy_ms=int(sys.argv[2]))
store = Standing(opened.engine, opened.dialect)
writer = new_writer(store)
writer.start()
receipts = [writer.submit(registration(1_001), "a-1").result(60).receipt]
if sys.argv[3] == "within":
    store.still = True
else:
    stand_still()
receipts += [writer.submit(registration(number), "a-1").result(60).receipt for number in range(1_002, 1_006)]
print(json.dumps(receipts))
writer.stop()
store.close()
"""


@contextmanager
def writing(url: str, busy_ms: int = BUSY_MS) -> Iterator[Writer]:
    """A writer that waits no longer than ``busy_ms``."""
    store = open_impatient(url, busy_ms)
    made = new_writer(store)
    made.start()
    yield made
    made.stop()
    store.close()


@pytest.fixture
def writer(url: str) -> Iterator[Writer]:
    """One on a book whose line has begun."""
    with writing(url) as made:
        for submission in [opening(), *line_start()]:
            made.submit(submission, "a-lead").result(30)
        yield made


@pytest.fixture
def store(url: str, writer: Writer) -> Iterator[Store]:
    """The same store, to look at it."""
    opened = open_store(url)
    yield opened
    opened.close()


@contextmanager
def stopped(url: str, project: Path, where: str) -> Iterator[subprocess.Popen[bytes]]:
    """A writing process that has stopped itself: ``within`` a commit, or ``between`` two."""
    command = [sys.executable, "-c", CHILD, url, str(BUSY_MS), where]
    with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=project) as child:
        try:
            _, status = os.waitpid(child.pid, os.WUNTRACED)
            assert os.WIFSTOPPED(status)
            yield child
        finally:
            if child.poll() is None:
                child.kill()


def gone_on(child: subprocess.Popen[bytes]) -> list[str]:
    """Let it go on; the receipts that it got in all."""
    child.send_signal(signal.SIGCONT)
    out, _ = child.communicate(timeout=120)
    assert 0 == child.returncode
    receipts: list[str] = json.loads(out)
    return receipts


def entered_by(writer: Writer, count: int) -> list[str]:
    """Receipts of so many balls, each asked for until it is entered."""
    return [writer.submit(registration(number), "a-engraver").result(60).receipt for number in range(1, count + 1)]


def test_one_that_stands_still_between_two_writes_stops_nobody(
    store: Store, writer: Writer, url: str, project: Path
) -> None:
    """Others write on at once; when it goes on it takes their entries in, and there is one chain."""
    with stopped(url, project, "between") as child:
        receipts = entered_by(writer, 20)
        receipts += gone_on(child)
    check_one_book(store, 9 + 20 + 5, receipts)


def test_one_that_stands_still_within_a_write_is_cut_off_by_the_server(
    store: Store, writer: Writer, url: str, project: Path
) -> None:
    """PostgreSQL ends its transaction and others write on; SQLite tells them to send it again. Then it goes on: one chain."""
    with stopped(url, project, "within") as child:
        if store.dialect.name == "sqlite":
            error = writer.submit(registration(1), "a-engraver").exception(60)
            assert isinstance(error, StoreUnavailable)
            receipts = gone_on(child)
            receipts += entered_by(writer, 20)
        else:
            receipts = entered_by(writer, 20)
            receipts += gone_on(child)
    check_one_book(store, 9 + 20 + 5, receipts)


def test_one_that_never_goes_on_is_ended_and_others_write(
    store: Store, writer: Writer, url: str, project: Path
) -> None:
    """A process that is killed while it stands still within a write leaves its lock, and nothing of that write."""
    with stopped(url, project, "within") as child:
        child.kill()
        child.wait(60)
        receipts = entered_by(writer, 20)
    check_one_book(store, 9 + 1 + 20, receipts)


@pytest.mark.usefixtures("stretch")
def test_a_connection_that_falls_silent_at_any_piece_stops_nobody(postgres: str) -> None:
    """After the first, the second, ... the last piece that a group sends, as a whole or ahead: others write, and it is
    entered once.
    """
    url = fresh_database(postgres)
    pieces = 0
    # The silent one's own limit is what ends its write; the other waits for that however slow the machine is.
    with withheld(url) as way, writing(url, 30_000) as other, writing(way.url) as silent:
        for submission in [opening(), *line_start()]:
            other.submit(submission, "a-lead").result(30)
        numbers = itertools.count(1)
        entered = [silent.submit(registration(next(numbers)), "a-1").result(60)]
        for pieces in range(200):
            way.hold_after(pieces)
            # Several rows for each table, as only a group has them.
            asked = [silent.submit(registration(next(numbers)), "a-1") for _ in range(3)]
            while not (held := way.holding.wait(0.01)) and not all(future.done() for future in asked):
                pass
            if held:
                entered.append(other.submit(registration(next(numbers)), "a-2").result(60))
            way.release()
            entered += [future.result(60) for future in asked]
            if not held:
                break
    assert 9 < pieces < 199
    with closing(open_store(url)) as store:
        check_one_book(store, 9 + len(entered), [each.receipt for each in entered])
