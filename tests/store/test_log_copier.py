"""What waits in SQLite's log is copied back beside the writer, and only then."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from queue import SimpleQueue

import pytest

from ledger.store import log_copier
from ledger.store.dialect import WAL_PAGES
from ledger.store.engine import open_store
from ledger.store.log_copier import LEFT_PAGES, NONE_SEEN, WAITING_PAGES, LogCopier, log_holding
from tests.plant import begun, registration
from tests.stores import fresh_file

PAGE = 4_096
TRIES = 10_000
ROWS = "SELECT count(*) FROM t"


def alone(path: Path, asked: str) -> int | None:
    """What the database file answers by itself, without what is in its log alone; None in the midst of a change."""
    copied = path.with_name("alone.sqlite")
    shutil.copy(path, copied)
    with closing(sqlite3.connect(f"file:{copied}?immutable=1", uri=True)) as other, suppress(sqlite3.DatabaseError):
        return int(other.execute(asked).fetchone()[0] or 0)
    return None


def wait_copied(path: Path, rows: int) -> None:
    """Return once the database file has so many rows by itself."""
    assert any(alone(path, ROWS) == rows for _ in range(TRIES))


class Written:
    """A database that copies nothing back by itself, and its copier."""

    def __init__(self, path: Path) -> None:
        """With one empty table, and nothing in the log."""
        self.path = path
        self.connection = sqlite3.connect(path, isolation_level=None)
        self.connection.execute("PRAGMA journal_mode=WAL").fetchone()
        self.connection.execute("PRAGMA wal_autocheckpoint=0").fetchone()
        self.connection.execute("CREATE TABLE t (a INTEGER PRIMARY KEY, b BLOB)")
        self.copied()
        self.failures: SimpleQueue[sqlite3.Error] = SimpleQueue()
        self.copier = LogCopier(str(path), self.failures.put)

    def write(self, pages: int) -> None:
        """Commit rows that fill so many pages, and tell the copier."""
        self.connection.execute("BEGIN")
        self.connection.executemany("INSERT INTO t (b) VALUES (?)", [(bytes(PAGE),)] * pages)
        self.connection.execute("COMMIT")
        self.copier.committed()

    def copied(self) -> int:
        """Have SQLite copy all; the frames of its log."""
        _, frames, copied = self.connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
        assert frames == copied
        return int(frames)


@pytest.fixture
def written(tmp_path: Path) -> Iterator[Written]:
    """A database of its own."""
    made = Written(tmp_path / "some.sqlite")
    yield made
    made.copier.stop()
    made.connection.close()


def test_the_frames_of_the_log_are_those_that_sqlite_counts(written: Written) -> None:
    """It holds as many as SQLite itself says and no more, also after it began anew over its longer self, with other salts."""
    path = str(written.path)
    found = []
    for pages in (40, 3, 17):
        written.write(pages)
        salts, told = log_holding(path, NONE_SEEN, 1), [n for n in range(1, 200) if log_holding(path, NONE_SEEN, n)]
        frames = written.copied()
        assert told == list(range(1, frames + 1))
        assert frames > pages
        found.append(salts)
    assert 3 == len(set(found) - {None})


def test_what_waits_is_copied_and_the_log_begins_anew(written: Written) -> None:
    """With enough pages the database file has every row by itself, and the writer's next commit begins the log again."""
    written.copier.start()
    written.write(WAITING_PAGES)
    salts = log_holding(str(written.path), NONE_SEEN, 1)
    wait_copied(written.path, WAITING_PAGES)
    # The rows are there a moment before SQLite says that all is copied.
    written.copier.stop()
    written.write(1)
    assert salts != log_holding(str(written.path), NONE_SEEN, 1)
    assert written.failures.empty()


def test_few_pages_are_left_to_wait(written: Written) -> None:
    """Below the threshold nothing is copied, nor by the end of the copier."""
    written.copier.start()
    written.write(20)
    written.copier.stop()
    assert 0 == alone(written.path, ROWS)
    assert log_holding(str(written.path), NONE_SEEN, 20)


def test_a_reader_sees_what_it_saw(written: Written) -> None:
    """While somebody looks at the book as it was, what came since stays in the log; afterwards it is copied."""
    with closing(sqlite3.connect(written.path, isolation_level=None)) as reader:
        written.write(1)
        reader.execute("BEGIN")
        assert (1,) == reader.execute(ROWS).fetchone()
        written.copier.start()
        written.write(WAITING_PAGES)
        written.write(WAITING_PAGES)
        assert (1,) == reader.execute(ROWS).fetchone()
        reader.execute("COMMIT")
    written.write(WAITING_PAGES)
    wait_copied(written.path, 1 + 3 * WAITING_PAGES)


def test_the_writer_copies_what_is_left_of_a_full_log(written: Written, monkeypatch: pytest.MonkeyPatch) -> None:
    """Once the log is full it is copied at once, by whoever asks; before that it is left."""
    monkeypatch.setattr(log_copier, "WAL_PAGES", 100)
    written.write(50)
    written.copier.finish()
    assert 0 == alone(written.path, ROWS)
    written.write(LEFT_PAGES)
    written.copier.finish()
    assert 50 + LEFT_PAGES == alone(written.path, ROWS)


def test_no_copying_begins_where_all_was_seen_by_an_earlier_one(
    written: Written, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full log of which nothing waits is not touched, which a database that cannot be opened would tell."""
    monkeypatch.setattr(log_copier, "WAL_PAGES", 100)
    written.write(LEFT_PAGES)
    written.copier.finish()
    away = written.path.with_name("away")
    written.path.rename(away)
    written.path.mkdir()
    written.copier.finish()
    written.copier.committed()
    written.copier.start()
    written.copier.stop()
    assert written.failures.empty()
    written.path.rmdir()
    away.rename(written.path)


def test_an_error_is_heard_and_the_next_commit_tries_again(written: Written) -> None:
    """A copying that fails says so to whoever is to hear of it; it goes on where the database can be opened again."""
    away = written.path.with_name("away")
    written.path.rename(away)
    written.path.mkdir()
    written.copier.start()
    written.write(WAITING_PAGES)
    assert isinstance(written.failures.get(timeout=60), sqlite3.OperationalError)
    written.path.rmdir()
    away.rename(written.path)
    written.write(1)
    wait_copied(written.path, WAITING_PAGES + 1)


@pytest.mark.parametrize("log", [None, b"", b"short", bytes(200)])
def test_a_log_of_another_form_is_left_alone(tmp_path: Path, log: bytes | None) -> None:
    """Where no log lies there, or one that is not as described, it cannot be told what waits, and nothing is done."""
    path = tmp_path / "other.sqlite"
    if log is not None:
        (tmp_path / "other.sqlite-wal").write_bytes(log)
    assert log_holding(str(path), NONE_SEEN, 1) is None
    copier = LogCopier(str(path), SimpleQueue[sqlite3.Error]().put)
    copier.start()
    copier.committed()
    copier.stop()
    assert not path.exists()


def test_no_connection_copies_by_itself_while_there_is_a_writer(tmp_path: Path) -> None:
    """What a full log makes a commit do is off while the writer runs, and on again afterwards."""
    with closing(open_store(fresh_file(tmp_path))) as store:
        writer = begun(store)
        with store.reading() as look:
            assert (0,) == look.row("PRAGMA wal_autocheckpoint")
        writer.stop()
        with store.reading() as look:
            assert (WAL_PAGES,) == look.row("PRAGMA wal_autocheckpoint")


def test_what_is_written_beside_the_book_is_copied_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Files and accounts fill the log as well, on days on which nothing is registered."""
    monkeypatch.setattr(log_copier, "WAITING_PAGES", 1)
    url = fresh_file(tmp_path)
    path = Path(url.removeprefix("sqlite:///"))
    with closing(open_store(url)) as store:
        writer = begun(store)
        for number in range(5_000):
            with store.writing() as transaction:
                transaction.run('INSERT INTO "setting" ("name", "value") VALUES (?, ?)', (f"said-{number}", "beside"))
            if alone(path, """SELECT count(*) FROM "setting" WHERE "value" = 'beside'"""):
                break
        assert number < 4_999
        writer.stop()


def test_a_writer_has_its_log_copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was registered stands in the database file by itself, long before the log is full."""
    monkeypatch.setattr(log_copier, "WAITING_PAGES", 1)
    url = fresh_file(tmp_path)
    with closing(open_store(url)) as store:
        writer = begun(store, 10_000)
        path = Path(url.removeprefix("sqlite:///"))
        for number in range(5_000):
            writer.submit(registration(number), "a-engraver").result(30)
            if (alone(path, 'SELECT max("index") FROM "entry"') or 0) > 9:
                break
        assert number < 4_999
        writer.stop()
