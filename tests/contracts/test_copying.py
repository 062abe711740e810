"""A book copied to a store of either kind: the same truth, the same head, going on where it stopped, moved for good."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ledger.application.proofs import check_book
from ledger.errors import ChainBroken, StoreDamaged, StoreError
from ledger.store import copying
from ledger.store.copying import copy_book
from ledger.store.engine import Store, open_store
from ledger.store.rebuild import rebuild_views
from ledger.store.writer import Writer
from tests.plant import ORIGIN, SIGNER, new_writer, registration
from tests.stores import every_row, fresh_database, fresh_file

_OF_A_STORE = ("alembic_version", "setting")
STOPPED = "stopped by the test"


@pytest.fixture
def target(request: pytest.FixtureRequest, tmp_path: Path, url: str) -> Any:
    """An empty store of the other kind to copy to."""
    other = fresh_database(request.getfixturevalue("postgres")) if url.startswith("sqlite") else fresh_file(tmp_path)
    opened = open_store(other)
    yield opened
    opened.close()


@pytest.fixture
def book(writer: Writer, monkeypatch: pytest.MonkeyPatch) -> Writer:
    """A book with some balls, and chunks so small that a copy has many."""
    monkeypatch.setattr(copying, "CHUNK", 7)
    for ball in range(1, 21):
        writer.submit(registration(ball), "a-1").result(30)
    return writer


def _truth(store: Store) -> dict[str, Any]:
    rows = every_row(store)
    settings = [row for row in rows["setting"] if not row[0].startswith(copying._OWN)]
    return {**{name: rows[name] for name in rows if name not in _OF_A_STORE}, "setting": settings}


def _stop_after(chunks: int) -> Callable[[int, int], None]:
    left = iter(range(chunks))

    def progress(_done: int, _size: int) -> None:
        if next(left, None) is None:
            raise RuntimeError(STOPPED)

    return progress


def test_a_copy_is_the_same_book(store: Store, book: Writer, target: Store) -> None:
    """Every row of truth and views is as it was, and a check of the whole copy finds nothing; it takes the next ball."""
    book.stop()
    copied = copy_book(store, target)
    rebuild_views(target)
    report = check_book(target, ORIGIN, [SIGNER.verifier])
    assert _truth(store) == _truth(target)
    assert (report.entries, report.root) == (copied.size, copied.root.hex())
    goes_on = new_writer(target)
    goes_on.start()
    assert copied.size == goes_on.submit(registration(21), "a-1").result(30).index
    goes_on.stop()


@pytest.mark.parametrize("chunks", [0, 1, 3])
def test_a_stopped_copy_takes_no_entries_and_goes_on(store: Store, book: Writer, target: Store, chunks: int) -> None:
    """Whatever was copied before a stop is kept; until the copy is whole nobody can write to it."""
    with pytest.raises(RuntimeError, match=STOPPED):
        copy_book(store, target, progress=_stop_after(chunks))
    with pytest.raises(StoreError, match="not finished"):
        new_writer(target).start()
    book.submit(registration(21), "a-1").result(30)
    book.stop()
    copied = copy_book(store, target)
    rebuild_views(target)
    assert copied.fresh == copied.size - 7 * (chunks + 1)
    assert _truth(store) == _truth(target)


def test_a_moved_book_goes_on_in_one_place(store: Store, book: Writer, target: Store) -> None:
    """The old store refuses the writer that is running and any other; its copy holds all that it acknowledged."""
    copied = copy_book(store, target, move=True)
    with pytest.raises(StoreError, match="moved to another"):
        book.submit(registration(21), "a-1").result(30)
    with pytest.raises(StoreError, match="moved to another"):
        new_writer(store).start()
    rebuild_views(target)
    goes_on = new_writer(target)
    goes_on.start()
    assert copied.size == goes_on.submit(registration(21), "a-1").result(30).index
    goes_on.stop()
    check_book(target, ORIGIN, [SIGNER.verifier])


def test_a_move_that_stops_before_its_end_is_ended_by_the_same_copy_alone(
    store: Store, book: Writer, target: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the old store closed and the new one not yet open, the book is written nowhere, and only that copy ends it."""
    book.stop()
    monkeypatch.setattr(copying, "_copy_blobs", _failing)
    with pytest.raises(RuntimeError, match=STOPPED):
        copy_book(store, target, move=True)
    monkeypatch.undo()
    for closed in (store, target):
        with pytest.raises(StoreError):
            new_writer(closed).start()
    other = open_store(fresh_file(tmp_path))
    with pytest.raises(StoreError, match="moved to another"):
        copy_book(store, other)
    other.close()
    assert copy_book(store, target, move=True).fresh == 0
    rebuild_views(target)
    assert _truth(store) == _truth(target)


def _failing(*_: Any) -> None:
    raise RuntimeError(STOPPED)


def test_a_store_in_use_is_not_written_over(store: Store, book: Writer, target: Store) -> None:
    """Neither a book nor a finished copy is copied to."""
    copy_book(store, target)
    with pytest.raises(StoreError, match="in use"):
        copy_book(store, target)
    with pytest.raises(StoreError, match="in use"):
        copy_book(target, store)


def test_what_was_erased_meanwhile_is_erased_in_the_copy(store: Store, book: Writer, target: Store) -> None:
    """A copy that goes on gives up the openings that the old store has deleted since."""
    with pytest.raises(RuntimeError, match=STOPPED):
        copy_book(store, target, progress=_stop_after(3))
    with store.writing() as transaction:
        assert transaction.run('DELETE FROM "opening" WHERE "sealing" = \'erasable\' AND "index" < 8')
    copy_book(store, target)
    assert every_row(store)["opening"] == every_row(target)["opening"]


def test_a_damaged_entry_is_not_copied(store: Store, book: Writer, target: Store) -> None:
    """A changed entry stops the copy, before anything after it is written."""
    book.stop()
    with store.writing() as transaction:
        if store.dialect.name == "sqlite":
            transaction.run('DROP TRIGGER "entry_never_updated"')
        else:
            transaction.run('DROP TRIGGER "entry_never_updated" ON "entry"')
        [(raw,)] = transaction.rows('SELECT "bytes" FROM "entry" WHERE "index" = 9')
        transaction.run('UPDATE "entry" SET "bytes" = ? WHERE "index" = 9', (bytes(raw).replace(b"a-1", b"a-2"),))
    with pytest.raises((StoreDamaged, ChainBroken)):
        copy_book(store, target)
    with target.reading() as look:
        assert look.row('SELECT count(*) FROM "entry"') == (7,)


def test_another_book_does_not_end_a_copy(store: Store, book: Writer, target: Store, tmp_path: Path) -> None:
    """An unfinished copy of one book takes nothing of another."""
    with pytest.raises(RuntimeError, match=STOPPED):
        copy_book(store, target, progress=_stop_after(1))
    other = open_store(fresh_file(tmp_path))
    with pytest.raises(StoreError, match="not of this book"):
        copy_book(other, target)
    other.close()
