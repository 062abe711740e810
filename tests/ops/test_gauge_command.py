"""`pourbook gauge`: one gauge, printed for a report."""

from __future__ import annotations

import pytest

from ops.cli import main
from tests.application.floor import Floor, at, calibrated, studied


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of a book with a studied, calibrated and checked gauge."""
    floor = Floor(tmp_path_factory.mktemp("floor"))
    floor.say(studied("mass", 1), calibrated("mass", 2, expanded="0.01", as_found="0.002", certificate="ab" * 32))
    floor.say({"kind": "gauge-checked", "at": at(3), "gauge": "G-MASS", "master": "MP-1", "good": True})
    floor.book.close()
    return floor.url


def test_a_gauge_in_lines(store: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Calibrations, the study with ndc, the table of the budget of one and of n readings."""
    assert 0 == main(["gauge", "G-MASS", "--store", store, "--readings", "3"])
    out = capsys.readouterr().out
    for words in (
        "gauge G-MASS: weight in lb, resolution 0.001",
        "as found 0.002 lb, U = 0.01 lb, k = 2",
        f"certificate {'ab' * 32}, in force",
        "check: good, master MP-1",
        "GRR gauge, repeatability and reproducibility",
        "ndc ",
        "uncertainty of one reading:",
        "uncertainty of the mean of 3 readings:",
        "effective degrees of freedom",
    ):
        assert words in out, words


def test_a_gauge_without_anything(store: str, capsys: pytest.CaptureFixture[str]) -> None:
    """It says why there is no budget."""
    assert 0 == main(["gauge", "G-HARDNESS", "--store", store])
    assert "no uncertainty budget" in capsys.readouterr().out


@pytest.mark.parametrize(
    "words", [["NONE"], ["G-MASS", "--readings", "0"], ["G-MASS", "--rulebook", "usbc-2026"]], ids=str
)
def test_what_cannot_be_answered(store: str, words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """One line, and the mend."""
    assert 1 == main(["gauge", *words, "--store", store])
    assert "to mend it: " in capsys.readouterr().err
