"""`pourbook reopen`: a moved book comes back to its old store only where nobody has seen more of it, and says so."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ledger.errors import StoreError
from ledger.store import copying
from ledger.store.engine import open_store
from ledger.store.moved import copy_settings
from ledger.store.reader import open_reader
from ops.cli import main
from tests.plant import new_writer, registration
from tests.stores import fresh_database, fresh_file, postgres_server
from tests.whole.serving import Premises, new_premises


@pytest.fixture(scope="module")
def postgres() -> Iterator[str]:
    """The address of a PostgreSQL server."""
    with postgres_server() as address:
        yield address


@pytest.fixture(params=["sqlite", "postgresql"])
def premises(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Premises:
    """A book whose line has begun, and the settings of its service."""
    file = request.param == "sqlite"
    url = fresh_file(tmp_path) if file else fresh_database(request.getfixturevalue("postgres"))
    made = new_premises(tmp_path, url)
    for name, value in made.variables().items():
        monkeypatch.setenv(name, value)
    return made


def _enter(premises: Premises, url: str, ball: int) -> bytes:
    """Register a ball; the checkpoint afterwards."""
    store = open_store(url)
    writer = new_writer(store, signers=[premises.signers.checkpoint])
    try:
        writer.start()
        writer.submit(registration(ball), "a-1").result(30)
        note = writer.checkpoint
        writer.stop()
    finally:
        store.close()
    assert note is not None
    return note


def _kept(folder: Path, note: bytes) -> str:
    file = folder / "checkpoint.seen"
    file.write_bytes(note)
    return str(file)


def _lost(*_: Any) -> None:
    raise RuntimeError("lost")


def _half_moved(premises: Premises, folder: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """Move the book to a store that is lost before it is whole; the id of the copy."""
    with monkeypatch.context() as broken:
        broken.setattr(copying, "_copy_blobs", _lost)
        with pytest.raises(RuntimeError, match="lost"):
            main(["copy", "--from", premises.url, "--to", fresh_file(folder), "--move"])
    return _moved(premises.url) or ""


def _moved(url: str) -> str | None:
    store = open_store(url, migrate=False)
    with open_reader(store) as reader:
        _, copy = copy_settings(reader.transaction)
    store.close()
    return copy


def _last_entry(url: str) -> bytes:
    store = open_store(url, migrate=False)
    with open_reader(store) as reader:
        raw = bytes(reader.entry(reader.head().size - 1).bytes)
    store.close()
    return raw


def test_a_book_whose_new_store_was_lost_goes_on_in_the_old_one(
    tmp_path: Path, premises: Premises, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Held against the checkpoint elsewhere it is opened again, its next entry says so, and it takes balls."""
    seen = _kept(tmp_path, _enter(premises, premises.url, 1))
    copy = _half_moved(premises, tmp_path, monkeypatch)
    with pytest.raises(StoreError, match="moved to another"):
        _enter(premises, premises.url, 2)
    assert 0 == main(["reopen", "--from", premises.url, "--seen", seen, "--gone", "disk-lost"])
    assert "opened again" in capsys.readouterr().out
    said = _last_entry(premises.url)
    for part in (b'"book-restored"', b'"reason":"disk-lost"', f'"copy":"{copy}"'.encode()):
        assert part in said
    assert _moved(premises.url) is None
    _enter(premises, premises.url, 2)
    premises.check()
    assert 1 == main(["reopen", "--from", premises.url, "--seen", seen, "--gone", "disk-lost"])
    assert "was not moved" in capsys.readouterr().err


def test_a_book_that_went_on_in_the_new_store_is_not_taken_back(
    tmp_path: Path, premises: Premises, capsys: pytest.CaptureFixture[str]
) -> None:
    """A head that the old store does not reach keeps it closed, with the reason, and nothing is entered."""
    target = fresh_file(tmp_path)
    assert 0 == main(["copy", "--from", premises.url, "--to", target, "--move"])
    copy, before = _moved(premises.url), _last_entry(premises.url)
    seen = _kept(tmp_path, _enter(premises, target, 1))
    assert 1 == main(["reopen", "--from", premises.url, "--seen", seen, "--gone", "disk-lost"])
    assert "went on in the store that it was moved to" in capsys.readouterr().err
    assert (copy, before) == (_moved(premises.url), _last_entry(premises.url))


def test_a_checkpoint_that_the_settings_name_is_asked_even_so(
    tmp_path: Path, premises: Premises, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`--unseen` does not pass over the copy that the service itself kept."""
    target = fresh_file(tmp_path)
    assert 0 == main(["copy", "--from", premises.url, "--to", target, "--move"])
    monkeypatch.setenv("POURBOOK_CHECKPOINT_COPY", _kept(tmp_path, _enter(premises, target, 1)))
    assert 1 == main(["reopen", "--from", premises.url, "--unseen", "--gone", "disk-lost"])
    assert "went on in the store" in capsys.readouterr().err


def test_nothing_is_opened_without_heads_or_without_the_word(premises: Premises, tmp_path: Path) -> None:
    """Who says neither what others have seen, nor that the copy is gone, opens nothing."""
    assert 0 == main(["copy", "--from", premises.url, "--to", fresh_file(tmp_path), "--move"])
    assert 1 == main(["reopen", "--from", premises.url, "--gone", "disk-lost"])
    with pytest.raises(SystemExit):
        main(["reopen", "--from", premises.url, "--unseen"])
    assert _moved(premises.url) is not None


def test_a_head_under_an_unknown_key_opens_nothing(premises: Premises, tmp_path: Path) -> None:
    """A checkpoint that no known key signed may be of the new store's later keys, so it is no leave to go on."""
    assert 0 == main(["copy", "--from", premises.url, "--to", fresh_file(tmp_path), "--move"])
    other = tmp_path / "other"
    other.mkdir()
    stranger = new_premises(other, fresh_file(tmp_path))
    seen = _kept(tmp_path, _enter(stranger, stranger.url, 1))
    assert 1 == main(["reopen", "--from", premises.url, "--seen", seen, "--gone", "disk-lost"])
    assert _moved(premises.url) is not None
