"""`pourbook find`: balls by a half-worn number."""

from __future__ import annotations

import pytest

from ops.cli import main
from tests.application.floor import Floor, engraved


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of a book with two balls, and three numbers that were allotted and are on no ball."""
    floor = Floor(tmp_path_factory.mktemp("floor"))
    floor.line()
    floor.say(engraved("U-1", "AB3777"), engraved("U-2", "AB3778", 80))
    floor.book.close()
    return floor.url


def test_candidates_in_lines(store: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every candidate with what tells it apart, how it was found, and what the order rests on."""
    assert 0 == main(["find", "AB877?", "--store", store])
    out = capsys.readouterr().out
    for words in (
        "no ball fits what was read; place 6 was not read",
        "2 balls by look-alikes, likeliest if place 3 was a 3 read as 8",
        "unit U-1 (by look-alike, 0.5 of the likelihood)",
        "model M1, Model M1, colours green, 15 lb",
        "made 2026-09-24, engraved",
        "common practice, no source",
    ):
        assert words in out, words


def test_a_prefix_narrowed_by_class(store: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A prefix lists the numbers in order; no ball of another class is found, and the command says so by its code."""
    assert 0 == main(["find", "--prefix", "AB", "--store", store])
    assert "2 balls bear or bore such a number" in capsys.readouterr().out
    assert 1 == main(["find", "--prefix", "AB", "--class", "16", "--store", store])
    assert "no ball bear or bore such a number" not in capsys.readouterr().out


def test_a_question_that_is_none(store: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing to look for, and too many to list, are refused with the mend."""
    assert 1 == main(["find", "--store", store])
    assert "a ball is looked for in one way" in capsys.readouterr().err
    assert 1 == main(["find", "AB", "--store", store, "--listed", "0"])
    assert "1 to 200" in capsys.readouterr().err
