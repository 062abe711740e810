"""The duties run in one process at a time, go on when it stops, and survive what goes wrong."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import pytest

from ledger.duties.rechecks import DUTIES
from ledger.duties.runner import LEASE_MS, DutyRunner
from ledger.errors import KeyReused, RuleStands, StoreUnavailable
from ledger.line.submission import Submission
from ledger.store.leases import take_lease
from ledger.store.reader import open_reader
from tests.application.claimed_plant import claimed_plant
from tests.application.floor import Floor, blocks, corrected


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant in which a correction asks for a second look."""
    made = Floor(tmp_path)
    made.line()
    moulded = next(told.fact for told in made.book.lot("BL-1").history if told.kind == "blocks-moulded")
    made.say(corrected({"fact": moulded, "replacement": blocks("BL-1", 20, 40)}))
    yield made
    made.book.close()


def runner(floor: Floor, holder: str, submit: Callable[[Submission], Any] | None = None) -> DutyRunner:
    """A runner as a service wires it, or over another way to say things; its turns are called by hand."""

    def say(submission: Submission) -> Any:
        return floor.book._writer.submit(submission, DUTIES)

    return DutyRunner(floor.book.store, submit or say, holder=holder, clock_ms=floor.clock, every_s=3_600)


def rechecks(floor: Floor) -> int:
    """How many re-checks are in the book."""
    return floor.book.standing().facts.get("recheck", 0)


def test_a_turn_does_what_is_due_once(floor: Floor) -> None:
    """The first turn enters the re-check, the next has nothing to do."""
    one = runner(floor, "one")
    assert ([1, 0, 0], 1) == ([one.turn() for _ in range(3)], rechecks(floor))
    assert ["block-rest-short"] == [hold.reason for hold in floor.book.standing().open_holds]


def test_two_runners_work_once(floor: Floor) -> None:
    """While one process holds the lease, another does nothing."""
    one, two = runner(floor, "one"), runner(floor, "two")
    take_lease(floor.book.store, "rechecks", "one", floor.now_ms, LEASE_MS)
    assert ([0, 1, 0], 1) == ([runner.turn() for runner in (two, one, two)], rechecks(floor))


def test_the_lease_moves_when_its_holder_stops_renewing(floor: Floor) -> None:
    """A process that died holding the lease is followed by another once the lease has run out."""
    two = runner(floor, "two")
    take_lease(floor.book.store, "rechecks", "dead", floor.now_ms, LEASE_MS)
    assert 0 == two.turn()
    floor.now_ms += LEASE_MS - 1
    assert 0 == two.turn()
    floor.now_ms += 1
    assert (1, 1) == (two.turn(), rechecks(floor))


def test_one_that_stood_still_for_longer_than_its_lease_says_nothing_twice(floor: Floor) -> None:
    """Paused after it found what is due, a process finds it said by the one that took the lease, and the lease with it."""
    two = runner(floor, "two")
    followed: list[int] = []

    def paused(submission: Submission) -> Any:
        floor.now_ms += LEASE_MS
        followed.append(two.turn())
        return floor.book._writer.submit(submission, DUTIES)

    one = runner(floor, "one", paused)
    one.turn()
    assert ([1], 1) == (followed, rechecks(floor))
    assert (0, 0, 1) == (one.turn(), two.turn(), rechecks(floor))
    assert not take_lease(floor.book.store, "rechecks", "one", floor.now_ms, LEASE_MS)


def test_a_restart_says_nothing_twice(floor: Floor) -> None:
    """A new process over the same book finds that all was said."""
    runner(floor, "one").turn()
    floor.now_ms += LEASE_MS
    assert (0, 1) == (runner(floor, "two").turn(), rechecks(floor))


def test_what_was_said_meanwhile_is_no_error(floor: Floor) -> None:
    """A runner whose lease ran out in mid-turn finds the key used, and goes on."""

    def too_late(_submission: Submission) -> Future[Any]:
        future: Future[Any] = Future()
        future.set_exception(KeyReused("idempotency key was used for another submission"))
        return future

    one = runner(floor, "one", too_late)
    assert (0, 0) == (one.turn(), rechecks(floor))


def test_what_was_not_taken_is_done_at_the_next_turn(floor: Floor) -> None:
    """A store that is away for a while puts the duty off; it is not forgotten."""
    away = [StoreUnavailable("store cannot be reached")]

    def now_and_then(submission: Submission) -> Any:
        if away:
            raise away.pop()
        return floor.book._writer.submit(submission, DUTIES)

    one = runner(floor, "one", now_and_then)
    with pytest.raises(StoreUnavailable):
        one.turn()
    assert (1, 1) == (one.turn(), rechecks(floor))


@pytest.mark.parametrize("error", [RuleStands("refused"), ValueError("a fault of ours")])
def test_an_error_of_one_duty_puts_off_no_other(
    tmp_path: Path, error: Exception, caplog: pytest.LogCaptureFixture
) -> None:
    """What the others found is said in the same turn; the error is in the log, and its duty is done at the next."""
    floor = claimed_plant(tmp_path)
    moulded = next(told.fact for told in floor.book.lot("BL-1").history if told.kind == "blocks-moulded")
    floor.say(corrected({"fact": moulded, "replacement": blocks("BL-1", 20, 40)}, hours=4_900))
    fails = [error]

    def fails_once(submission: Submission) -> Any:
        if submission.key.startswith("recheck-") and fails:
            raise fails.pop()
        return floor.book._writer.submit(submission, DUTIES)

    one = runner(floor, "one", fails_once)
    assert (5, 0) == (one.turn(), rechecks(floor))
    assert "duty re-checks" in caplog.text
    assert (1, 1) == (one.turn(), rechecks(floor))
    floor.book.close()


@pytest.mark.parametrize("error", [StoreUnavailable("store cannot be reached"), ValueError("a fault of ours")])
def test_the_thread_survives_errors_and_gives_its_lease_up(floor: Floor, error: Exception) -> None:
    """Whatever a turn raises, the next one comes, and at the end another process may begin at once."""
    failed, done = threading.Event(), threading.Event()

    def fails_once(submission: Submission) -> Any:
        if not failed.is_set():
            failed.set()
            raise error
        future = floor.book._writer.submit(submission, DUTIES)
        future.add_done_callback(lambda _: done.set())
        return future

    one = runner(floor, "one", fails_once)
    one.start()
    assert failed.wait(30)
    one.wake()
    assert done.wait(30)
    one.stop()
    assert 1 == rechecks(floor)
    with open_reader(floor.book.store) as reader:
        assert reader.setting("lease:rechecks") is None


def test_a_service_with_duties_does_them(floor: Floor) -> None:
    """A book started with its duties enters the re-check in their own name, which is no account's."""
    other = floor.opened()
    other.start(duties=True)
    other.close()
    assert 1 == rechecks(floor)
    last = floor.book.entry(floor.book.standing().entries - 1).entry
    assert (DUTIES, "recheck") == (last["author"], last["said"]["records"][0]["kind"])


def test_stopping_a_runner_that_never_ran_is_no_error(floor: Floor) -> None:
    """A runner that was not started can be stopped."""
    runner(floor, "one").stop()
