"""The drill: a service under load is backed up and destroyed; what comes back holds all that was acknowledged."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy.engine import make_url

from ledger.store.engine import open_store
from ledger.store.reader import open_reader
from ops.cli import main
from tests.stores import fresh_database, fresh_file
from tests.whole.load import Load, check_whole
from tests.whole.serving import Premises, ServiceProcess, new_premises


@pytest.fixture
def premises(tmp_path: Path, url: str) -> Premises:
    """A book, and the key that opens its backups."""
    made = new_premises(tmp_path, url)
    assert 0 == main(["keys", "new-backup", str(tmp_path / "backup.identity")])
    return made


def _recipient(premises: Premises) -> str:
    return (premises.folder / "backup.identity").read_text().split()[3]


def _back_up(premises: Premises, name: str) -> Path:
    file = premises.folder / name
    assert 0 == main(["backup", str(file), "--store", premises.url, "--recipient", _recipient(premises)])
    return file


def _restore(premises: Premises, file: Path, url: str, *more: str) -> int:
    identity = ["--identity", str(premises.folder / "backup.identity"), "--key", premises.verifier]
    return main(["restore", str(file), "--to", url, *identity, *more])


def _elsewhere(request: pytest.FixtureRequest, premises: Premises, folder: Path) -> Premises:
    """The same premises with an empty store of the other kind."""
    if premises.url.startswith("sqlite"):
        return premises._replace(url=fresh_database(request.getfixturevalue("postgres")))
    return premises._replace(url=fresh_file(folder))


def _size(url: str) -> int:
    store = open_store(url)
    with open_reader(store) as reader:
        size = reader.head().size
    store.close()
    return size


def _destroy(premises: Premises) -> None:
    """Nothing of the store is left to read."""
    parsed = make_url(premises.url)
    if parsed.get_backend_name() == "sqlite":
        for file in premises.folder.glob(f"{Path(str(parsed.database)).name}*"):
            file.unlink()
        return
    store = open_store(premises.url, migrate=False)
    with store.writing() as transaction:
        transaction.run("DROP SCHEMA public CASCADE")
        transaction.run("CREATE SCHEMA public")
    store.close()


def test_a_destroyed_book_comes_back_whole(
    tmp_path: Path, premises: Premises, request: pytest.FixtureRequest, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each backup taken under load is a book; of the last one everything acknowledged before it is there, on another store."""
    load = Load(premises.token)
    service = ServiceProcess(premises)
    running = load.start([service.ready()], 4)
    load.wait_for(20)
    _back_up(premises, "under-load.age")
    load.wait_for(20)
    running.stop()
    last = _back_up(premises, "last.age")
    service.kill()
    _destroy(premises)

    restored = _elsewhere(request, premises, tmp_path)
    assert 0 == _restore(premises, last, restored.url, "--unseen")
    assert "restored: " in capsys.readouterr().out
    check_whole(restored, load)
    beside = premises._replace(url=fresh_file(tmp_path))
    assert 0 == _restore(premises, tmp_path / "under-load.age", beside.url, "--unseen")
    assert 21 <= beside.check().entries <= restored.check().entries
    goes_on = ServiceProcess(restored)
    load.start([goes_on.ready()], 2, 4).join()
    assert 0 == goes_on.stop()
    check_whole(restored, load)
    assert [] == [file.name for file in tmp_path.iterdir() if file.name.startswith(".pourbook-")]


def test_yesterdays_backup_is_refused_unless_the_loss_is_told(
    tmp_path: Path, premises: Premises, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What others have seen is missing: no restore without a word, and with it the book says what it lost, for ever."""
    copy = tmp_path / "elsewhere" / "checkpoint"
    copy.parent.mkdir()
    monkeypatch.setenv("POURBOOK_CHECKPOINT_COPY", str(copy))
    for name, value in premises.variables().items():
        monkeypatch.setenv(name, value)
    yesterday = _back_up(premises, "yesterday.age")
    load = Load(premises.token)
    service = ServiceProcess(premises)
    load.start([service.ready()], 2, 10).join()
    assert 0 == service.stop()

    restored = _elsewhere(request, premises, tmp_path)
    seen = ("--seen", str(copy))
    assert 1 == _restore(premises, yesterday, restored.url)
    assert 1 == _restore(premises, yesterday, restored.url, *seen)
    assert 0 == _size(restored.url)
    assert 0 == _restore(premises, yesterday, restored.url, *seen, "--lose", "fire")

    monkeypatch.setenv("POURBOOK_STORE_URL", restored.url)
    goes_on = ServiceProcess(restored)
    Load(premises.token).start([goes_on.ready()], 1, 3).join()
    assert 0 == goes_on.stop()
    restored.check()
    store = open_store(restored.url, migrate=False)
    with open_reader(store) as reader:
        said = [bytes(entry.bytes) for entry in reader.entries(0, reader.head().size)]
    store.close()
    told = [raw for raw in said if b'"book-restored"' in raw]
    assert (1, True) == (len(told), b'"reason":"fire"' in told[0])


def test_a_store_put_back_behind_its_copy_is_not_served(
    tmp_path: Path, premises: Premises, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A dump of yesterday that somebody puts in place by hand does not start: a checkpoint elsewhere is ahead of it."""
    copy = tmp_path / "checkpoint.copy"
    yesterday = _back_up(premises, "yesterday.age")
    monkeypatch.setenv("POURBOOK_CHECKPOINT_COPY", str(copy))
    load = Load(premises.token)
    service = ServiceProcess(premises)
    load.start([service.ready()], 2, 10).join()
    assert 0 == service.stop()
    by_hand = premises._replace(url=fresh_file(tmp_path))
    assert 0 == _restore(premises, yesterday, by_hand.url, "--unseen")
    stale = ServiceProcess(by_hand)
    assert 1 == stale.stop_refused()
    assert "older than a checkpoint known elsewhere" in stale.log.read_text("utf-8")


@pytest.mark.parametrize("damage", ["cut", "changed", "other-key", "no-backup"])
def test_a_file_that_is_no_whole_backup_restores_nothing(tmp_path: Path, premises: Premises, damage: str) -> None:
    """Cut short, changed, for another key, or no backup at all: refused, and the new store stays empty."""
    file = _back_up(premises, "backup.age")
    raw = file.read_bytes()
    if damage == "cut":
        file.write_bytes(raw[: len(raw) // 2])
    elif damage == "changed":
        file.write_bytes(raw[:-100] + bytes([raw[-100] ^ 1]) + raw[-99:])
    elif damage == "no-backup":
        file.write_bytes(b"something else")
    else:
        (tmp_path / "backup.identity").unlink()
        assert 0 == main(["keys", "new-backup", str(tmp_path / "backup.identity")])
    target = fresh_file(tmp_path)
    assert 1 == _restore(premises, file, target, "--unseen")
    assert not Path(str(make_url(target).database)).exists()
    assert [] == [file.name for file in tmp_path.iterdir() if file.name.startswith(".pourbook-")]


def test_a_backup_is_not_written_over(tmp_path: Path, premises: Premises) -> None:
    """A file that is there stays as it is, and a name with the date is a new one."""
    file = _back_up(premises, "backup.age")
    before = file.read_bytes()
    again = ["--store", premises.url, "--recipient", _recipient(premises)]
    assert 1 == main(["backup", str(file), *again])
    assert before == file.read_bytes()
    assert 0 == main(["backup", str(tmp_path / "book-{date}.age"), *again])
    assert 1 == len(list(tmp_path.glob("book-2*Z.age")))
