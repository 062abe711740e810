"""`pourbook archive`: what it prints and what it refuses."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.store.store_settings import put_setting
from ops.cli import main
from tests.archived_book import SIZE, open_ranged, write_book
from tests.stores import fresh_file, postgres_server


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """The address of a PostgreSQL server."""
    with postgres_server() as address:
        yield address


def test_it_tells_what_it_took_out(server: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """How far the archive goes, up to which sort of checkpoint, and what is there alone now; a second run takes nothing."""
    store = open_ranged(server)
    write_book(store)
    command = ["archive", "--store", store.url, "--to", f"file://{tmp_path}/book/"]
    assert 0 == main(command)
    said = capsys.readouterr()
    assert f"archived: {SIZE} entries, up to the newest signed head, since no checkpoint is published" in said.out
    assert "the bytes of entries 0 to 511" in said.out
    assert f"{SIZE} of {SIZE} (100 %)" in said.err
    assert 0 == main(command)
    assert "nothing, since no further range is closed" in capsys.readouterr().out
    assert 0 == main(["rebuild", "--store", store.url])
    with store.writing() as transaction:
        put_setting(transaction, "archive", f"file://{tmp_path}/none")
    assert 1 == main(["rebuild", "--store", store.url])
    said = capsys.readouterr()
    assert "object storage does not answer as it should" in said.err
    assert "check that the bucket or folder is there" in said.err
    store.close()


def test_it_refuses_what_is_no_folder(tmp_path: Path, server: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A book in a file, an address with a key in it, and one of another kind are refused with the mend."""
    assert 1 == main(["archive", "--store", fresh_file(tmp_path), "--to", f"file://{tmp_path}/book"])
    assert "an archive is made of a book on PostgreSQL" in capsys.readouterr().err
    store = open_ranged(server)
    for url in ("s3://key:secret@bucket/book", "ftp://host/book"):
        assert 1 == main(["archive", "--store", store.url, "--to", url])
        said = capsys.readouterr().err
        assert ("not the address of a folder" in said, "secret" in said) == (True, False)
    store.close()
