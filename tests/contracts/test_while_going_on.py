"""A check of the book and a rebuild of its views stop nobody: what is told meanwhile is answered meanwhile."""

from __future__ import annotations

import threading
from contextlib import closing

import pytest

from ledger.application.proofs import check_book
from ledger.errors import StoreUnavailable, ViewMismatch
from ledger.line.rows import Unit
from ledger.store import rebuild
from ledger.store.engine import Store, open_store
from ledger.store.long_look import open_long_reader
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views, rebuild_views
from ledger.store.view_tables import BESIDE
from ledger.store.writer import Writer
from tests.plant import ORIGIN, SIGNER, begun, registration
from tests.stores import every_row, fresh_database

BALLS = 12


@pytest.fixture
def told(writer: Writer, monkeypatch: pytest.MonkeyPatch) -> Writer:
    """A book with balls, whose views are folded four entries at a time."""
    monkeypatch.setattr(rebuild, "CHUNK", 4)
    for number in range(BALLS):
        writer.submit(registration(number), "a-engraver").result(30)
    return writer


def forge(store: Store) -> None:
    """Change a view row by hand."""
    with store.writing() as transaction:
        transaction.run('UPDATE "unit" SET "serial" = \'FORGED\' WHERE "unit" = \'U-000001\'')


class Telling:
    """A progress callback that tells the book of a ball each time, and waits for its answer."""

    def __init__(self, writer: Writer) -> None:
        """Nothing is told yet."""
        self.answered: list[int] = []
        self._writer = writer

    def __call__(self, _done: int, _size: int) -> None:
        """Tell of the next ball."""
        if len(self.answered) < 5:
            ball = registration(1_000 + len(self.answered))
            self.answered.append(self._writer.submit(ball, "a-engraver").result(30).index)


def test_a_comparison_stops_no_writer(store: Store, told: Writer) -> None:
    """Submissions are acknowledged in the middle of a comparison, which sees none of them and finds what was changed."""
    telling = Telling(told)
    assert [] == compare_views(store, progress=telling)
    assert 5 == len(telling.answered)
    forge(store)
    found = compare_views(store, progress=Telling(told))
    assert [("unit", "standing"), ("unit", "entries")] == [(one.view, one.only) for one in found]


def test_a_check_of_the_book_stops_no_writer(store: Store, told: Writer) -> None:
    """The same for the whole check, which reports the book as it began; and it finds a row changed by hand."""
    with open_reader(store) as reader:
        size = reader.head().size
    telling = Telling(told)
    report = check_book(store, ORIGIN, [SIGNER.verifier], progress=telling)
    assert (size, True, 5) == (report.entries, report.views_compared, len(telling.answered))
    forge(store)
    with pytest.raises(ViewMismatch, match="view unit"):
        check_book(store, ORIGIN, [SIGNER.verifier])


def test_a_check_leaves_nothing_behind(store: Store, told: Writer) -> None:
    """After a check, and after one that was broken off, every table of the store is as before."""
    told.stop()  # it would store its idle checkpoint meanwhile
    before = every_row(store)

    def broken_off(_done: int, _size: int) -> None:
        raise KeyboardInterrupt

    assert [] == compare_views(store)
    with pytest.raises(KeyboardInterrupt):
        compare_views(store, progress=broken_off)
    assert before == every_row(store)


def test_a_store_that_is_only_read_can_be_checked(store: Store, told: Writer, url: str) -> None:
    """A check needs no leave to write; and a store opened so refuses to be written."""
    with closing(open_store(url, migrate=False, read_only=True)) as other:
        assert [] == compare_views(other)
        with pytest.raises(other.dialect.errors):
            forge(other)
        with pytest.raises(other.dialect.errors):
            rebuild_views(other)


def test_a_rebuild_stops_no_writer(store: Store, told: Writer) -> None:
    """Submissions are acknowledged in the middle of a rebuild, and are in the views that it leaves."""
    telling = Telling(told)
    size = rebuild_views(store, progress=telling)
    assert (5, [], True) == (len(telling.answered), compare_views(store), size > telling.answered[-1])


def test_a_rebuild_leaves_nothing_beside(store: Store, told: Writer) -> None:
    """After a rebuild the tables are those from before, also where one before it was broken off."""
    told.stop()  # it would store its idle checkpoint meanwhile
    before = every_row(store)

    def broken_off(_done: int, _size: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        rebuild_views(store, progress=broken_off)
    assert set(before) < set(every_row(store))
    rebuild_views(store)
    assert before == every_row(store)


def test_a_later_rebuild_takes_over(store: Store, told: Writer) -> None:
    """Of two rebuilds at once the one that began later ends, and the other says so and changes nothing."""

    def another(done: int, _size: int) -> None:
        if done == 4:
            rebuild_views(store)
            forge(store)

    with pytest.raises(StoreUnavailable, match="took over"):
        rebuild_views(store, progress=another)
    assert {"unit"} == {one.view for one in compare_views(store)}


def test_a_long_look_keeps_its_views(store: Store, told: Writer, url: str) -> None:
    """A look that began before a rebuild sees the same rows after it, where the rebuild need not wait for it to end."""
    with open_long_reader(store) as reader:
        rebuilt, ended = exchanged_meanwhile(url)
        first = reader.one(Unit, "U-000001")
        if store.dialect.name == "sqlite":
            ended.wait(30)
        assert first == reader.one(Unit, "U-000001")
        assert first is not None
    ended.wait(30)
    assert ([BALLS + 9], []) == (rebuilt, compare_views(store))


def exchanged_meanwhile(url: str) -> tuple[list[int], threading.Event]:
    """A rebuild on a thread of its own: its answer when it has ended."""
    rebuilt: list[int] = []
    ended = threading.Event()

    def rebuild_it() -> None:
        with closing(open_store(url)) as other:
            rebuilt.append(rebuild_views(other))
        ended.set()

    threading.Thread(target=rebuild_it, daemon=True).start()
    return rebuilt, ended


def test_a_rebuild_gives_way_to_a_long_look(told: Writer, url: str) -> None:
    """Where views that are looked at cannot be exchanged, a rebuild gives up after its wait, and writers go on."""
    with closing(open_store(url, busy_ms=6_000)) as impatient, open_long_reader(impatient) as reader:
        assert BALLS + 9 == reader.head().size
        if impatient.dialect.name == "sqlite":
            assert BALLS + 9 == rebuild_views(impatient)
        else:
            with pytest.raises(StoreUnavailable, match="looked at"):
                rebuild_views(impatient)
        told.submit(registration(2_000), "a-engraver").result(30)
        assert reader.one(Unit, "U-002000") is None


def test_upkeep_of_the_tables_beside_is_waited_for(postgres: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The server analyses what was just filled, and the exchange waits longer for that than for people's looks."""
    monkeypatch.setattr(rebuild, "CHUNK", 4)
    store = open_store(fresh_database(postgres))
    begun(store).stop()
    upkeep = store.transaction()
    upkeep.begin_write()
    ended = threading.Timer(0.6, upkeep.rollback)

    def take_and_end_later(done: int, _size: int) -> None:
        if done == 4:
            upkeep.run(f'LOCK TABLE "unit{BESIDE}" IN SHARE UPDATE EXCLUSIVE MODE')
            ended.start()

    rebuild_views(store, take_and_end_later)
    ended.join()
    upkeep.close()
    assert [] == compare_views(store)
    store.close()
