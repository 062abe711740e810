"""`pourbook verify receipt`: an entry by its receipt and a key, offline."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.book.signing import format_verifier
from ops.cli import main
from tests.application.floor import ORIGIN, Floor, floor_signers

KEY = format_verifier(floor_signers().checkpoint.verifier)


@pytest.fixture
def files(tmp_path: Path) -> tuple[str, str]:
    """A receipt and its entry, as files."""
    floor = Floor(tmp_path)
    receipt, entry = tmp_path / "receipt.txt", tmp_path / "entry.json"
    receipt.write_text(floor.book.receipt(1), "utf-8")
    entry.write_bytes(floor.book.entry_bytes(1))
    floor.book.close()
    return str(receipt), str(entry)


def test_a_receipt_that_holds_is_said_so(files: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    """With what was checked, and what was not."""
    assert 0 == main(["verify", "receipt", *files, "--key", KEY])
    said = capsys.readouterr().out
    assert f"entry 1 stands in the book {ORIGIN}" in said
    assert "not checked:" in said


def test_another_entry_a_cut_receipt_and_a_wrong_key_are_refused(
    files: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """One changed byte of either file, or the key of another book, and nothing is said to hold."""
    receipt, entry = (Path(name) for name in files)
    whole, text = entry.read_bytes(), receipt.read_text("utf-8")
    other = format_verifier(floor_signers().dossier.verifier)
    assert 1 == main(["verify", "receipt", *files, "--key", other])
    entry.write_bytes(whole[:-1] + b" ")
    assert 1 == main(["verify", "receipt", *files, "--key", KEY])
    entry.write_bytes(whole)
    receipt.write_text(text[:-3], "utf-8")
    assert 1 == main(["verify", "receipt", *files, "--key", KEY])
    assert 1 == main(["verify", "receipt", f"{receipt}.gone", str(entry), "--key", KEY])
    assert "stands in the book" not in capsys.readouterr().out
