"""What a witness remembers: kept as one step, on the disk, whatever happens meanwhile; and a file that is none is refused."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from ledger.errors import StoreDamaged, StoreUnavailable, WitnessRefused
from ledger.store.witness_state import KEPT_MISFITS, Misfit, Witnessed, WitnessState, open_witness_state

LOG = "book.example"


def grown_to(size: int) -> Witnessed:
    """A stored checkpoint of a size."""
    return Witnessed(size, f"note of {size}".encode(), size * 1_000)


def keep(state: WitnessState, size: int) -> Witnessed:
    """Store a size whatever was there."""
    return state.exchange(LOG, lambda _: grown_to(size))


def test_what_is_kept_is_there_after_a_restart(tmp_path: Path) -> None:
    """Each log has its own row; the last one kept is the one found."""
    state = open_witness_state(tmp_path / "w", begin=True)
    assert (None, grown_to(3), grown_to(5)) == (state.stored(LOG), keep(state, 3), keep(state, 5))
    state.exchange("other.example", lambda _: grown_to(1))
    state.close()
    again = open_witness_state(tmp_path / "w")
    assert {LOG: grown_to(5), "other.example": grown_to(1)} == again.every()
    again.close()


def test_a_refusal_keeps_nothing(tmp_path: Path) -> None:
    """What the judge raises leaves the state as it was, and the next one may go on."""
    state = open_witness_state(tmp_path / "w", begin=True)
    keep(state, 3)

    def refuse(stored: Witnessed | None) -> Witnessed:
        assert grown_to(3) == stored
        raise WitnessRefused("no", status=422)

    with pytest.raises(WitnessRefused):
        state.exchange(LOG, refuse)
    assert (grown_to(3), grown_to(4)) == (state.stored(LOG), keep(state, 4))
    state.close()


def test_two_processes_take_turns(tmp_path: Path) -> None:
    """While one judges, the other waits, and then sees what the first kept."""
    one, two = open_witness_state(tmp_path / "w", begin=True), open_witness_state(tmp_path / "w")
    judging, seen = threading.Event(), []

    def slow(_: Witnessed | None) -> Witnessed:
        judging.set()
        other.start()
        # The other has asked for the lock, or is about to: either way it gets it after this.
        return grown_to(9)

    def look(stored: Witnessed | None) -> Witnessed:
        seen.append(stored)
        return grown_to(12)

    other = threading.Thread(target=lambda: two.exchange(LOG, look))
    one.exchange(LOG, slow)
    other.join()
    assert ([grown_to(9)], grown_to(12)) == (seen, one.stored(LOG))
    one.close()
    two.close()


def test_a_commit_is_flushed(tmp_path: Path) -> None:
    """Write-ahead log and full flushes: what SQLite needs so that a commit is on the disk."""
    state = open_witness_state(tmp_path / "w", begin=True)
    found = [state._connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous")]
    assert ["wal", 2] == found
    state.close()


def test_after_a_failed_flush_nothing_is_signed(tmp_path: Path) -> None:
    """The system may say of the next flush that all is well; the state takes nothing until it is opened anew."""
    state = open_witness_state(tmp_path / "w", begin=True)

    def broken(_: Witnessed | None) -> Witnessed:
        error = sqlite3.OperationalError("disk I/O error")
        error.sqlite_errorcode, error.sqlite_errorname = sqlite3.SQLITE_IOERR_FSYNC, "SQLITE_IOERR_FSYNC"
        raise error

    for judge in (broken, lambda _: grown_to(1)):
        with pytest.raises(StoreUnavailable):
            state.exchange(LOG, judge)
    assert state.stored(LOG) is None
    state.close()


def test_a_state_is_begun_once(tmp_path: Path) -> None:
    """A witness does not go on with an empty state by mistake, and never over one that is there."""
    with pytest.raises(StoreUnavailable, match="not there"):
        open_witness_state(tmp_path / "w")
    open_witness_state(tmp_path / "w", begin=True).close()
    with pytest.raises(StoreUnavailable, match="there already"):
        open_witness_state(tmp_path / "w", begin=True)


def test_another_file_is_no_state(tmp_path: Path) -> None:
    """Text, a database of another sort, a state of a newer program, and a folder are refused."""
    (tmp_path / "text").write_text("x" * 5_000, encoding="utf-8")
    with pytest.raises(StoreDamaged):
        open_witness_state(tmp_path / "text")
    for name, statement in (("other", "CREATE TABLE a (b)"), ("newer", "PRAGMA user_version = 2")):
        with closing(sqlite3.connect(tmp_path / name)) as connection:
            connection.execute(statement)
        with pytest.raises(StoreUnavailable, match="no state of a witness"):
            open_witness_state(tmp_path / name)
    with pytest.raises(StoreUnavailable):
        open_witness_state(tmp_path)
    with pytest.raises(StoreUnavailable):
        open_witness_state(tmp_path / "no" / "folder", begin=True)


def test_misfits_are_kept_once_and_so_many(tmp_path: Path) -> None:
    """The same head comes once; more than a number are not kept, so that no log can fill the disk."""
    state = open_witness_state(tmp_path / "w", begin=True)
    misfits = [
        Misfit(LOG, size, bytes(32), b"shown", b"before", size, "it does not extend")
        for size in range(KEPT_MISFITS + 1)
    ]
    for misfit in (*misfits, misfits[0]):
        state.keep_misfit(misfit)
    assert misfits[:KEPT_MISFITS] == state.misfits()
    state.close()
