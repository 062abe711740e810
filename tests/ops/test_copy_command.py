"""`pourbook copy`: what it prints, what it refuses, and that the book goes on in the new store."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.errors import StoreError
from ledger.store.engine import open_store
from ops.cli import main
from tests.plant import new_writer, registration
from tests.stores import fresh_file
from tests.whole.serving import Premises, new_premises


@pytest.fixture
def premises(tmp_path: Path) -> Premises:
    """A book whose line has begun."""
    return new_premises(tmp_path, fresh_file(tmp_path))


def test_a_copy_is_told_with_its_root(tmp_path: Path, premises: Premises, capsys: pytest.CaptureFixture[str]) -> None:
    """It says how many entries under which root, and that the old store is still open."""
    report = premises.check()
    target = fresh_file(tmp_path)
    assert 0 == main(["copy", "--from", premises.url, "--to", target])
    said = capsys.readouterr().out
    assert f"copied: {report.entries} entries" in said
    assert report.root in said
    assert "still open" in said
    assert report == premises._replace(url=target).check()


def test_a_moved_book_is_refused_at_its_old_place(
    tmp_path: Path, premises: Premises, capsys: pytest.CaptureFixture[str]
) -> None:
    """After a move the old store says where to look, the new one takes entries, and no second copy is made of the old."""
    target = fresh_file(tmp_path)
    assert 0 == main(["copy", "--from", premises.url, "--to", target, "--move"])
    assert 1 == main(["copy", "--from", premises.url, "--to", fresh_file(tmp_path)])
    assert "was moved to another one" in capsys.readouterr().err
    assert 1 == main(["copy", "--from", target, "--to", target])
    premises._replace(url=target).check()
    with pytest.raises(StoreError):
        _enter(premises, premises.url)
    _enter(premises, target)


def _enter(premises: Premises, url: str) -> None:
    store = open_store(url)
    writer = new_writer(store, signers=[premises.signers.checkpoint])
    try:
        writer.start()
        writer.submit(registration(1), "a-1").result(30)
        writer.stop()
    finally:
        store.close()


def test_a_store_that_fails_meanwhile_is_told_in_a_line(
    tmp_path: Path, premises: Premises, capsys: pytest.CaptureFixture[str]
) -> None:
    """Here a table of the old store is gone: its class of error and what to do, and nothing of its rows."""
    store = open_store(premises.url)
    with store.writing() as transaction:
        transaction.run('DROP TABLE "published"')
    store.close()
    assert 1 == main(["copy", "--from", premises.url, "--to", fresh_file(tmp_path)])
    said = capsys.readouterr().err.splitlines()[-2:]
    assert ["pourbook: store failed meanwhile (OperationalError)", "  to mend it: see that the database runs"] == [
        said[0], said[1].partition(" and can")[0],
    ]  # fmt: skip


def test_a_store_of_an_earlier_version_is_refused(
    tmp_path: Path, premises: Premises, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its tables are not those of this version: it says which version it is of and how to bring it up to date."""
    store = open_store(premises.url)
    with store.writing() as transaction:
        transaction.run('UPDATE "alembic_version" SET "version_num" = ?', ("0002",))
    store.close()
    assert 1 == main(["copy", "--from", premises.url, "--to", fresh_file(tmp_path)])
    assert "got 0002\n  to mend it: let this version bring it up to date once" in capsys.readouterr().err
