"""A standby that answers what may be old: how old it is, when it is not asked, and what it is never asked. Two real servers."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy.engine import make_url

from ledger.errors import StoreUnavailable
from ledger.line.rows import Lot
from ledger.store.accounts import account_of
from ledger.store.engine import open_store
from ledger.store.followed_store import FollowedStore
from ledger.store.look import Look, looking
from ledger.store.read_store import ReadStore
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views, rebuild_views
from ledger.store.writer import Writer
from tests.plant import new_writer, registration
from tests.whole.postgres_pair import Pair, postgres_pair
from tests.whole.serving import Premises, new_premises

LIMIT_S = 10.0
NOW_MS = 1_796_000_000_000


class Clock:
    """A clock that goes when it is told to."""

    def __init__(self) -> None:
        """Begin anywhere."""
        self.seconds = 100.0

    def __call__(self) -> float:
        """Seconds."""
        return self.seconds


@pytest.fixture(scope="module")
def pair() -> Iterator[Pair]:
    """A primary and its standby."""
    with postgres_pair() as one:
        yield one


@pytest.fixture(scope="module")
def premises(pair: Pair, tmp_path_factory: pytest.TempPathFactory) -> Premises:
    """A book on the primary."""
    return new_premises(tmp_path_factory.mktemp("premises"), pair.book_at(standby=False))


class Followed:
    """A store with its standby, a writer on it, and the clock by which the standby's age is told."""

    def __init__(self, pair: Pair, premises: Premises) -> None:
        """Both are looked at once, and the standby has applied what there was."""
        self.pair, self.clock = pair, Clock()
        primary = open_store(premises.url)
        self.read_store = ReadStore(
            pair.book_at(standby=True), primary, LIMIT_S, clock_s=self.clock, clock_ms=lambda: NOW_MS
        )
        self.store = FollowedStore(primary, self.read_store)
        self.writer: Writer = new_writer(primary, signers=[premises.signers.checkpoint])
        self.writer.start()
        self.catch_up()

    def catch_up(self) -> None:
        """Note how far the primary is, have that applied, and look at the standby."""
        self.read_store.turn()
        self.pair.wait_applied()
        self.read_store.turn()

    def say(self, ball: int) -> None:
        """Register a ball."""
        self.writer.submit(registration(ball), "a-1").result(30)

    def look(self, least: int = 0, *, short: bool = True) -> tuple[Look, int]:
        """A look that may be old, and the size of the book that it finds."""
        with looking(Look()) as look:
            look.allow(least, short=short)
            with open_reader(self.store) as reader:
                return look, reader.head().size

    def close(self) -> None:
        """Stop and close everything; the standby goes on."""
        self.pair.run_on_standby("SELECT pg_wal_replay_resume()")
        self.writer.stop()
        self.store.close()


@pytest.fixture
def followed(pair: Pair, premises: Premises) -> Iterator[Followed]:
    """A store with its standby."""
    one = Followed(pair, premises)
    yield one
    one.close()


def _paused(followed: Followed) -> int:
    """Hold the standby where it is; the size of the book there."""
    _, size = followed.look()
    followed.pair.run_on_standby("SELECT pg_wal_replay_pause()")
    return size


def test_an_answer_from_a_standby_knows_its_age(followed: Followed) -> None:
    """Held back for three seconds it shows the book of then and says so; let go, it shows that of now."""
    size = _paused(followed)
    followed.clock.seconds += 3
    followed.say(1)
    followed.read_store.turn()
    look, found = followed.look()
    assert look.shown is not None
    assert (size, 3_000, NOW_MS - 3_000) == (found, look.shown.age_ms, look.shown.as_of_ms)
    followed.pair.run_on_standby("SELECT pg_wal_replay_resume()")
    followed.catch_up()
    look, found = followed.look()
    assert look.shown is not None
    assert (size + 1, 0) == (found, look.shown.age_ms)


def test_a_standby_that_hears_nothing_grows_old(followed: Followed) -> None:
    """Nothing is written and nothing left to apply: its age grows all the same, since nobody knows what it does not hear."""
    followed.clock.seconds += 4
    look, _ = followed.look()
    assert look.shown is not None
    assert 4_000 == look.shown.age_ms


def test_above_the_limit_the_primary_is_asked(followed: Followed) -> None:
    """A standby that is older than the limit answers nothing, which is counted, until it has caught up."""
    size = _paused(followed)
    followed.say(2)
    followed.clock.seconds += LIMIT_S + 1
    followed.read_store.turn()
    look, found = followed.look()
    assert (None, size + 1, "behind") == (look.shown, found, followed.read_store.state)
    assert 1 == followed.read_store.answers["behind"]
    followed.pair.run_on_standby("SELECT pg_wal_replay_resume()")
    followed.catch_up()
    assert followed.look()[0].shown is not None


def test_who_has_seen_more_is_answered_by_the_primary(followed: Followed) -> None:
    """A look that needs an entry which the standby lacks goes to the primary, all of it."""
    size = _paused(followed)
    followed.say(3)
    look, found = followed.look(size + 1)
    assert (None, size + 1) == (look.shown, found)
    assert 1 == followed.read_store.answers["needs-newer"]
    assert followed.look(size)[0].shown is not None


def test_what_nobody_allowed_to_be_old_never_is(followed: Followed) -> None:
    """Without a look, and under one that allows long reads alone, the store itself is read."""
    size = _paused(followed)
    followed.say(4)
    with open_reader(followed.store) as reader:
        assert size + 1 == reader.head().size
    assert (None, size + 1) == (followed.look(short=False)[0].shown, followed.look(short=False)[1])


def test_a_standby_is_never_migrated_or_written(followed: Followed) -> None:
    """It is opened as it is, and its server refuses a write; what needs temporary tables runs on the primary."""
    standby = followed.read_store.opened()
    with pytest.raises(standby.dialect.errors, match="read-only"), standby.writing(moved_too=True) as transaction:
        transaction.run("CREATE TEMPORARY TABLE t (n integer)")
    with looking(Look()) as look:
        look.allow(0, short=True)
        assert [] == list(compare_views(followed.store))
    assert look.shown is None


def test_a_look_in_the_way_of_the_log_is_asked_again(followed: Followed) -> None:
    """Views that are exchanged on the primary end a look at the standby: it is refused, and counted as that."""
    followed.pair.run_on_standby("ALTER SYSTEM SET max_standby_streaming_delay = 0")
    followed.pair.run_on_standby("SELECT pg_reload_conf()")
    with pytest.raises(StoreUnavailable, match="gave up"):
        _look_across_a_rebuild(followed)
    followed.pair.run_on_standby("ALTER SYSTEM RESET max_standby_streaming_delay")
    followed.pair.run_on_standby("SELECT pg_reload_conf()")
    assert 1 == followed.read_store.answers["conflict"] + followed.read_store.answers["away"]
    followed.catch_up()
    assert followed.look()[0].shown is not None


def test_who_waits_for_a_standby_that_stands_still_is_let_go(followed: Followed) -> None:
    """Its processes stop in the middle of a look: the look is ended, and the next one is the primary's."""
    entered, stopped, told = threading.Event(), threading.Event(), []

    def wait() -> None:
        with looking(Look()) as look:
            look.allow(0, short=True)
            with pytest.raises(StoreUnavailable, match="gave up"):
                _look_across(followed, entered, stopped)
        told.append(look.shown)

    waiting = threading.Thread(target=wait)
    waiting.start()
    assert entered.wait(30)
    with followed.pair.standby_standing_still():
        stopped.set()
        followed.clock.seconds += 6
        while waiting.is_alive():
            followed.read_store.guard()
            waiting.join(0.02)
        look, _ = followed.look()
        assert (None, "away") == (look.shown, followed.read_store.state)
    assert told
    followed.read_store.turn()
    followed.catch_up()
    assert followed.look()[0].shown is not None


def _look_across(followed: Followed, entered: threading.Event, stopped: threading.Event) -> None:
    with open_reader(followed.store) as reader:
        reader.rows(Lot, "lot", "SL-1")
        entered.set()
        assert stopped.wait(30)
        reader.rows(Lot, "lot", "SL-1")


def _look_across_a_rebuild(followed: Followed) -> None:
    with looking(Look()) as look:
        look.allow(0, short=True)
        with open_reader(followed.store) as reader:
            reader.rows(Lot, "lot", "SL-1")
            rebuild_views(followed.store)
            followed.pair.wait_applied()
            reader.rows(Lot, "lot", "SL-1")


def test_a_server_that_is_not_its_standby_is_not_asked(pair: Pair, premises: Premises) -> None:
    """The primary itself, and an address where nobody is, answer nothing; the book is read as ever."""
    primary = open_store(premises.url)
    nowhere = premises.url.replace("host=", "host=/nowhere")
    for url in (premises.url, nowhere):
        read_store = ReadStore(url, primary, LIMIT_S)
        read_store.turn()
        store = FollowedStore(primary, read_store)
        with looking(Look()) as look:
            look.allow(0, short=True)
            assert account_of(store, premises.token) is not None
        assert ("away", None, 1) == (read_store.state, look.shown, read_store.answers["away"])
        read_store.stop()
    primary.close()


def test_the_standby_of_another_book_is_not_asked(pair: Pair, premises: Premises, tmp_path: Path) -> None:
    """A database beside it on the same standby has applied the same log, and is another store all the same."""
    pair.run("CREATE DATABASE other TEMPLATE template0")
    addresses = [make_url(pair.book_at(standby=standby)).set(database="other") for standby in (False, True)]
    here, there = (address.render_as_string(hide_password=False) for address in addresses)
    new_premises(tmp_path, here)
    pair.wait_applied()
    primary = open_store(premises.url)
    read_store = ReadStore(there, primary, LIMIT_S)
    read_store.turn()
    assert "other" == read_store.state
    read_store.stop()
    primary.close()
