"""`pourbook mirror` and `pourbook verify fork` over real services."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.book.signing import format_verifier
from ops.cli import main
from tests.api.running import SIGNERS, running
from tests.plant import AT, ORIGIN

KEY = format_verifier(SIGNERS.checkpoint.verifier)


def test_book_is_followed_with_its_entries(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each look says what was added; with a token the entries themselves are kept, and the folder checks alone."""
    mirror, token = tmp_path / "mirror", tmp_path / "token"
    (tmp_path / "book").mkdir()
    with running(tmp_path / "book", balls=2) as service:
        token.write_text(service.tokens["auditor"])
        words = ["mirror", str(mirror), "--from", service.url, "--key", KEY]
        assert main(words) == 0
        assert "followed from the beginning" in capsys.readouterr().out
        drum = {
            "kind": "material-received",
            "at": AT,
            "lot": "MT-9",
            "material": "Resin",
            "kg": "9",
            "supplier": "Some",
        }
        service.say("station", drum).raise_for_status()
        with_entries = [*words, "--entries", "--token-file", str(token)]
        assert main([*with_entries, "--against", f"{service.url}/checkpoint"]) == 0
        told = capsys.readouterr().out
        assert "1 entries were added, and nothing before them was changed" in told
        assert "shows the same book" in told
        assert (mirror / "tile/entries").is_dir()
    assert main(["mirror", str(mirror), "--key", KEY]) == 0
    assert "the kept hashes give the root" in capsys.readouterr().out


def test_second_book_under_the_same_key_is_a_fork(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two books signed by one key are told as a fork, and the folder convinces who has only the key."""
    mirror = tmp_path / "mirror"
    for name, balls in (("one", 1), ("two", 3)):
        (tmp_path / name).mkdir()
        with running(tmp_path / name, balls=balls) as service:
            code = main(["mirror", str(mirror), "--from", service.url, "--key", KEY])
    assert code == 1
    assert "the book was forked" in capsys.readouterr().err
    assert main(["verify", "fork", str(mirror / "fork"), "--key", KEY]) == 0
    told = capsys.readouterr().out
    assert f"Two heads of the book {ORIGIN} are signed by its own key" in told


def test_service_that_is_not_there_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An address at which nothing answers is one line, and no fork."""
    assert main(["mirror", str(tmp_path / "m"), "--from", "http://127.0.0.1:9", "--key", KEY]) == 1
    assert "does not answer" in capsys.readouterr().err


@pytest.mark.parametrize("url", ["ftp://books.example", "books.example", "file:///etc/hostname"])
def test_address_of_another_sort_is_refused(tmp_path: Path, url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Only http and https are read."""
    assert main(["mirror", str(tmp_path / "m"), "--from", url, "--key", KEY]) == 1
    assert "address is none of a service" in capsys.readouterr().err


def test_folder_without_notes_is_no_evidence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An empty folder is refused by the name of what it lacks."""
    assert main(["verify", "fork", str(tmp_path), "--key", KEY]) == 1
    assert "lacks a file" in capsys.readouterr().err
