"""The checkpoint in a second place: kept, read back, and a store that is older than it is refused."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from ledger.book.checkpoint import parse_checkpoint, sign_checkpoint
from ledger.book.signing import parse_verifier, signer_from_seed
from ledger.errors import MalformedInput, SignatureRejected, StoreBehind
from ledger.store.answer import GroupReport
from ledger.store.engine import open_store
from ops.checkpoint_copy import CheckpointCopy
from tests.plant import ORIGIN, SIGNER, VERIFIER, line_start, new_writer, opening, registration


def _grow(folder: Path, first: int, count: int, copy: CheckpointCopy) -> None:
    """Enter balls into the book of a folder, with a copy kept after every group."""
    store = open_store(f"sqlite:///{folder / 'book.sqlite'}")
    writer = new_writer(store, on_group=copy)
    writer.start()
    if first == 0:
        for submission in [opening(), *line_start()]:
            writer.submit(submission, "a-keeper").result(30)
    for number in range(first, first + count):
        writer.submit(registration(number), "a-engraver").result(30)
    writer.stop()
    copy.keep()
    store.close()


def test_an_older_store_is_refused(tmp_path: Path) -> None:
    """A backup put in the place of a later book does not start where the copy of the checkpoint is known."""
    copy = CheckpointCopy(tmp_path / "elsewhere" / "checkpoint", every_s=0)
    (tmp_path / "elsewhere").mkdir()
    _grow(tmp_path, 0, 2, copy)
    shutil.copy(tmp_path / "book.sqlite", tmp_path / "backup.sqlite")
    _grow(tmp_path, 2, 2, copy)
    known = copy.known(ORIGIN, [parse_verifier(VERIFIER)])
    assert known is not None
    assert parse_checkpoint(known).tree_size == 13

    store = open_store(f"sqlite:///{tmp_path / 'backup.sqlite'}")
    with pytest.raises(StoreBehind):
        new_writer(store).start(known)
    store.close()


def test_the_same_store_starts(tmp_path: Path) -> None:
    """The book that the copy is of starts, and goes on."""
    copy = CheckpointCopy(tmp_path / "checkpoint", every_s=0)
    _grow(tmp_path, 0, 1, copy)
    store = open_store(f"sqlite:///{tmp_path / 'book.sqlite'}")
    writer = new_writer(store)
    writer.start(copy.known(ORIGIN, [parse_verifier(VERIFIER)]))
    assert not writer.submit(registration(5), "a-engraver").result(30).repeated
    writer.stop()
    store.close()


def test_no_file_is_no_knowledge(tmp_path: Path) -> None:
    """Before the first group there is nothing to hold a store against."""
    assert CheckpointCopy(tmp_path / "none").known(ORIGIN, [SIGNER.verifier]) is None


def test_a_copy_that_another_key_signed_is_refused(tmp_path: Path) -> None:
    """A file that somebody else wrote there is not believed."""
    copy = CheckpointCopy(tmp_path / "checkpoint", every_s=0)
    _grow(tmp_path, 0, 0, copy)
    other = signer_from_seed(ORIGIN, bytes(32)).verifier
    with pytest.raises(SignatureRejected):
        copy.known(ORIGIN, [other])


def test_a_copy_that_cannot_be_kept_stops_nothing(tmp_path: Path) -> None:
    """The folder is gone: the book goes on, and the log says so."""
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    copy = CheckpointCopy(folder / "checkpoint", every_s=0)
    _grow(tmp_path, 0, 1, copy)
    store = open_store(f"sqlite:///{tmp_path / 'book.sqlite'}")
    writer = new_writer(store, on_group=copy)
    writer.start()
    shutil.rmtree(folder)
    for number in (5, 6):
        assert not writer.submit(registration(number), "a-engraver").result(30).repeated
    writer.stop()
    store.close()


def test_the_published_checkpoint_is_kept_beside_it(tmp_path: Path) -> None:
    """A store that is older than what was published is refused, even where the newest copy is gone; a later one stays."""
    copy = CheckpointCopy(tmp_path / "checkpoint", every_s=0)
    _grow(tmp_path, 0, 1, copy)
    keys = [SIGNER.verifier]
    for size in (40, 30):
        copy.keep_published(sign_checkpoint(ORIGIN, size, bytes(32), [SIGNER]))
    for _ in range(2):
        known = copy.known(ORIGIN, keys)
        assert known is not None
        assert 40 == parse_checkpoint(known).tree_size
        (tmp_path / "checkpoint").unlink(missing_ok=True)
    store = open_store(f"sqlite:///{tmp_path / 'book.sqlite'}")
    with pytest.raises(StoreBehind):
        new_writer(store).start(copy.known(ORIGIN, keys))
    store.close()
    copy.published_path.write_bytes(b"garbage")
    with pytest.raises(MalformedInput):
        copy.known(ORIGIN, keys)


def test_a_published_checkpoint_that_cannot_be_kept_stops_nothing(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """The folder is gone: the log says so."""
    CheckpointCopy(tmp_path / "gone" / "checkpoint").keep_published(sign_checkpoint(ORIGIN, 3, bytes(32), [SIGNER]))
    assert "published checkpoint not copied" in caplog.text


def test_a_later_copy_is_not_written_over(tmp_path: Path) -> None:
    """Of two processes that keep one copy, the one with the later checkpoint wins."""
    later, earlier = (CheckpointCopy(tmp_path / "checkpoint", every_s=0) for _ in range(2))
    early = GroupReport(1, 1, 0, 3, sign_checkpoint(ORIGIN, 3, bytes(32), [SIGNER]))
    late = GroupReport(1, 1, 0, 5, sign_checkpoint(ORIGIN, 5, bytes(32), [SIGNER]))
    later(late)
    earlier(early)
    known = later.known(ORIGIN, [SIGNER.verifier])
    assert known is not None
    assert parse_checkpoint(known).tree_size == 5
