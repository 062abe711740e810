"""`pourbook verify dossier`: the command over the verifier."""

from __future__ import annotations

from pathlib import Path

import pytest

from ops.cli import main
from tests.evidence.small_dossier import KEY, dossier


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """The good dossier on disk."""
    path = tmp_path / "balls.zip"
    path.write_bytes(dossier())
    return path


def test_a_good_dossier_ends_well(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 0 and the report in plain words."""
    assert 0 == main(["verify", "dossier", str(file), "--key", KEY])
    assert "nothing is wrong with this dossier: 2 balls" in capsys.readouterr().out


def test_the_key_may_stand_in_a_file(file: Path, tmp_path: Path) -> None:
    """A file of verifier lines, with comments, is a key."""
    (tmp_path / "key.txt").write_text(f"# the plant's key\n{KEY}\n\n", "utf-8")
    assert 0 == main(["verify", "dossier", str(file), "--key", str(tmp_path / "key.txt")])


def test_a_changed_byte_is_named(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 1 and one line that says what is wrong and where."""
    file.write_bytes(dossier().replace(b"15.10", b"15.20", 1))
    assert 1 == main(["verify", "dossier", str(file), "--key", KEY])
    assert "entries/8.json: file is not as its directory says" in capsys.readouterr().err


@pytest.mark.parametrize("key", ["no-such-file", "a+b+c", "."])
def test_a_key_that_is_none_is_said(file: Path, key: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What is neither a verifier line nor a readable file is refused in words."""
    assert 1 == main(["verify", "dossier", str(file), "--key", key])
    assert "key" in capsys.readouterr().err


def test_a_file_without_a_key_is_said(file: Path, tmp_path: Path) -> None:
    """An empty key file is no key."""
    (tmp_path / "none.txt").write_text("# nothing\n", "utf-8")
    assert 1 == main(["verify", "dossier", str(file), "--key", str(tmp_path / "none.txt")])


def test_a_missing_dossier_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that cannot be read is named, without a traceback."""
    assert 1 == main(["verify", "dossier", str(tmp_path / "none.zip"), "--key", KEY])
    assert "cannot be read" in capsys.readouterr().err
