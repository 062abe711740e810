"""Commands over a book: begun, checked, rebuilt, judged, exported; as processes would see them, through `main`."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from ledger.application.pourbook import open_account, open_book, wall_clock_ms
from ledger.application.signers import Signers
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.store.engine import open_store
from ops.cli import main
from ops.key_files import open_key_file
from tests.plant import line_start, registration

ORIGIN = "balls.example.com/test"


@pytest.fixture
def begun(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """A book begun by the command, with a few balls entered through the application."""
    folder = tmp_path / "book"
    words = ["begin", str(folder), "--origin", ORIGIN, "--plant", "Test plant", "--keeper", "Keeper"]
    assert main(words) == 0
    assert "keeper's token, shown only now: pbk1_" in capsys.readouterr().out
    keys = [
        open_key_file(folder / f"{purpose}.key", (folder / f"{purpose}.password").read_text("utf-8").strip())
        for purpose in ("checkpoint", "dossier")
    ]
    book = open_book(
        _url(folder), origin=ORIGIN, signers=Signers(keys[0], keys[1]), label_stem="https://id.example.com"
    )
    book.start()
    account, _ = open_account(book.store, "Line", ["station", "quality"], wall_clock_ms())
    for submission in [*line_start(), *(registration(number) for number in range(3))]:
        book.submit(submission, account).result(30)
    book.close()
    return folder


def _url(folder: Path) -> str:
    return f"sqlite:///{folder / 'book.sqlite'}"


def _verifier(folder: Path) -> str:
    signer = open_key_file(folder / "checkpoint.key", (folder / "checkpoint.password").read_text("utf-8").strip())
    return format_verifier(signer.verifier)


def test_a_begun_book_verifies(begun: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The whole check says how many entries it looked at, and what it did not look at."""
    assert main(["verify", "book", "--store", _url(begun), "--key", _verifier(begun)]) == 0
    said = capsys.readouterr().out
    assert "nothing is wrong with the book balls.example.com/test: 12 entries" in said
    assert "not checked: whether what was written down is true" in said


def test_a_changed_byte_is_named_by_its_entry(begun: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One byte of one entry changed behind the book's back: the check names the entry."""
    connection = sqlite3.connect(begun / "book.sqlite")
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f'DROP TRIGGER "{name}"')
    (raw,) = connection.execute('SELECT "bytes" FROM "entry" WHERE "index" = 5').fetchone()
    connection.execute('UPDATE "entry" SET "bytes" = ? WHERE "index" = 5', (raw.replace(b"2026-03", b"2026-04", 1),))
    connection.commit()
    connection.close()
    assert main(["verify", "book", "--store", _url(begun), "--key", _verifier(begun)]) == 1
    assert "entry 5" in capsys.readouterr().err


def test_another_key_verifies_nothing(begun: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The verifier line of another key of the same name is not enough."""
    other = format_verifier(signer_from_seed(ORIGIN, bytes(32)).verifier)
    assert main(["verify", "book", "--store", _url(begun), "--key", other]) == 1
    assert "signature" in capsys.readouterr().err


def test_rebuild_gives_the_same_views(begun: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A view that was changed behind the book's back is found, and made right again from the entries."""
    store = open_store(_url(begun))
    with store.writing() as transaction:
        transaction.run('UPDATE "unit" SET "weight_class" = 16 WHERE "unit" = ?', ("U-000001",))
    store.close()
    assert main(["verify", "book", "--store", _url(begun), "--key", _verifier(begun)]) == 1
    assert main(["rebuild", "--store", _url(begun)]) == 0
    assert main(["verify", "book", "--store", _url(begun), "--key", _verifier(begun)]) == 0
    assert "views made anew from 12 entries" in capsys.readouterr().out


def test_conformity_prints_a_table(begun: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Counts for each limit that was judged, with its provenance, and the caution."""
    words = ["conformity", "--store", _url(begun), "--rulebook", "usbc-2026", "--lot", "SL-1"]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "3 balls under" in said
    assert "weight <= 16" in said
    assert "not an approval" in said


def test_an_unknown_rulebook_is_refused(begun: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The refusal names the rulebooks that there are."""
    assert main(["conformity", "--store", _url(begun), "--rulebook", "nobody-1900"]) == 1
    assert "usbc-2026" in capsys.readouterr().err


def test_an_exported_dossier_verifies(begun: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What `export` writes, `verify dossier` checks with the book's key alone; it never writes over a file."""
    out = tmp_path / "balls.zip"
    words = ["export", str(out), "--store", _url(begun), "--dossier-key", str(begun / "dossier.key")]
    words += ["--password-file", str(begun / "dossier.password"), "--lot", "SL-1"]
    assert main(words) == 0
    assert main(["verify", "dossier", str(out), "--key", _verifier(begun)]) == 0
    assert "3 balls" in capsys.readouterr().out
    assert main(words) == 1
