"""`pourbook rulebook`: what ships, what is wrong with a file, and what differs."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.conformity.rulebook import shipped_rulebooks
from ops.cli import main
from tests.conformity.balls import HARDNESS, HEAD


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """A plant's own rulebook."""
    file = tmp_path / "house.toml"
    file.write_text(HEAD + HARDNESS, "utf-8")
    return file


def test_the_list_names_every_shipped_rulebook(capsys: pytest.CaptureFixture[str]) -> None:
    """Each has its line with id, number of requirements and digest."""
    assert 0 == main(["rulebook", "list"])
    lines = {line.split()[0]: line for line in capsys.readouterr().out.splitlines()}
    assert set(shipped_rulebooks()) == set(lines)
    for id, edition in shipped_rulebooks().items():
        assert edition.digest[:16] in lines[id]
        assert f"{len(edition.rulebook.requirements)} requirements" in lines[id]


def test_a_sound_file_is_shown_limit_by_limit(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A checked file shows its digest, to be entered in the book, and each limit in words."""
    assert 0 == main(["rulebook", "check", str(house)])
    out = capsys.readouterr().out
    assert out.startswith("house: Test limits")
    assert "hardness: hardness >= 73 Shore D" in out


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('unit = "shore_d"', 'unit = "rockwell"', "house.toml line 14"),
        ('id = "house"', 'id = "usbc-2026"', "that of a rulebook that ships"),
    ],
)
def test_a_broken_file_is_refused_with_its_line(
    house: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, said: str
) -> None:
    """The line and the reason go to standard error, with exit code 1."""
    house.write_text(house.read_text("utf-8").replace(old, new), "utf-8")
    assert 1 == main(["rulebook", "check", str(house)])
    assert said in capsys.readouterr().err


def test_a_file_that_is_not_there_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A missing file, or a folder, is said in one line."""
    assert [1, 1] == [main(["rulebook", "check", str(path)]) for path in (tmp_path / "none.toml", tmp_path)]
    assert 2 == capsys.readouterr().err.count("file cannot be read")


def test_two_editions_are_told_apart(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Shipped ones go by id and own ones by file; the same one has no differences."""
    assert 0 == main(["rulebook", "diff", "usbc-2023", "usbc-2026"])
    assert "usbc.hardness-slow-oil added: hardness >= 78 Shore D" in capsys.readouterr().out
    assert 0 == main(["rulebook", "diff", str(house), str(house)])
    assert "house and house say the same\n" == capsys.readouterr().out
    assert 1 == main(["rulebook", "diff", "usbc-2023", "usbc-1066"])
    assert "no rulebook usbc-1066" in capsys.readouterr().err
