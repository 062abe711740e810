"""An archive that is stopped anywhere: the book reads as before, and the next run goes on."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from ledger.application.proofs import check_book
from ledger.errors import StoreUnavailable
from ledger.store.archiving import Archived, archive_book
from ledger.store.engine import Store, open_store
from ledger.store.range_exchange import archive_turn
from ledger.store.transaction import Transaction
from tests.archived_book import SIZE, STOP, every_read, open_ranged, write_book
from tests.plant import ORIGIN, SIGNER


class Stopped(BaseException):
    """The run was stopped here."""


class StoppingStore(Store):
    """A store of which a run is stopped before its n-th commit; what it had open is taken back, as by a kill."""

    def __init__(self, inner: Store, left: int) -> None:
        """Share the pool of ``inner``."""
        super().__init__(inner.engine, inner.dialect)
        self.left = left

    def transaction(self) -> Transaction:
        """A connection whose commits count."""
        return StoppingTransaction(self)


class StoppingTransaction(Transaction):
    """A connection of such a store."""

    def __init__(self, store: StoppingStore) -> None:
        """Take a connection of the store."""
        super().__init__(store.engine, store.dialect, store.archived)
        self._store = store

    def commit(self) -> None:
        """See Transaction."""
        self._store.left -= 1
        if self._store.left < 0:
            raise Stopped
        super().commit()


def left_over(store: Store) -> list[str]:
    """Tables that a run left beside the ranges."""
    with store.reading() as look:
        names = look.rows("SELECT tablename FROM pg_tables WHERE tablename ~ '^entry_.*_' ORDER BY 1")
    return [name for (name,) in names]


def test_stopped_before_any_commit(postgres: str, tmp_path: Path) -> None:
    """Stopped before the first, the second, ... the last commit: every read is as before, and the run after it goes on."""
    folder = f"file://{tmp_path}/book"
    for left in range(30):
        store = open_ranged(postgres)
        write_book(store, 600)
        before = every_read(store)
        stopping = StoppingStore(store, left)
        try:
            archive_book(stopping, f"{folder}-{left}")
        except Stopped:
            fresh = open_store(store.url)
            assert before == every_read(fresh)
            fresh.close()
            assert 256 == archive_book(store, f"{folder}-{left}").stop
        done = stopping.left >= 0
        assert (before, []) == (every_read(store), left_over(store))
        store.close()
        if done:
            break
    # The address, what was left, the rows beside, the exchange, the old rows: each commit was the first not to be made.
    assert 5 == left


CHILD = """
import os, sys
from ledger.store.archiving import archive_book
from ledger.store.engine import open_store
def progress(done, whole):
    print(done, flush=True)
    sys.stdin.readline()
archive_book(open_store(sys.argv[1]), sys.argv[2], progress=progress)
"""


def test_killed_while_it_writes(postgres: str, tmp_path: Path, project: Path) -> None:
    """A run killed with all objects written and nothing taken out is gone on with, and so is one over a part of them."""
    store = open_ranged(postgres)
    write_book(store)
    before = every_read(store)
    folder = tmp_path / "book"
    with subprocess.Popen(
        [sys.executable, "-c", CHILD, store.url, f"file://{folder}"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=project,
    ) as child:  # fmt: skip
        assert child.stdout is not None
        assert str(SIZE).encode() == child.stdout.readline().strip()
        child.kill()
    assert before == every_read(store)
    assert not (folder / "checkpoint").exists()
    (folder / "tile/entries/001").unlink()
    assert Archived(SIZE, published=False, before=0, stop=STOP) == archive_book(store, f"file://{folder}")
    assert before == every_read(store)
    assert SIZE == check_book(store, ORIGIN, [SIGNER.verifier]).entries
    store.close()


def test_two_runs_at_once_are_one(postgres: str, tmp_path: Path) -> None:
    """While a run is on, another is refused and changes nothing."""
    store = open_ranged(postgres)
    with archive_turn(store), pytest.raises(StoreUnavailable, match="another archive"):
        archive_book(store, f"file://{tmp_path}/book")
    assert not (tmp_path / "book/checkpoint").exists()
    store.close()
