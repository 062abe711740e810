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
