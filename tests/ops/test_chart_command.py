"""`pourbook chart`: figures in lines, pictures in files."""

from __future__ import annotations

from pathlib import Path

import pytest

from ops.cli import main
from tests.application.floor import Floor, engraved, inspected
from tests.conformity.pictures import read_back, words_of

SHORE = ("74", "75.5", "74.5", "76", "73.5", "75", "74", "75.5", "74.5", "75", "74.5", "84")


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of a book with a dozen balls, the last of which leaps."""
    floor = Floor(tmp_path_factory.mktemp("floor"))
    floor.line()
    for number, shore in enumerate(SHORE):
        floor.say(
            engraved(f"U-{number:02d}", f"P{number:02d}"), inspected(f"U-{number:02d}", 71 + number, hardness=shore)
        )
    floor.book.close()
    return floor.url


def test_figures_are_printed_and_pictures_written(
    store: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The signal is named by its ball; with a rulebook the capability comes too."""
    chart, histogram = tmp_path / "chart.svg", tmp_path / "histogram.svg"
    words = ["chart", "--store", store, "--quantity", "hardness", "--by", "mould", "--rulebook", "usbc-2026"]
    assert 0 == main([*words, "--svg", str(chart), "--histogram", str(histogram)])
    out = capsys.readouterr().out
    assert "MS-1: 12 readings" in out
    assert "point 12, P11: beyond 3 sigma above (rule 1)" in out
    assert "Cpk" in out
    assert ["hardness, mould MS-1"] * 2 == [
        words_of(read_back(file.read_text("utf-8")), "text")[0] for file in (chart, histogram)
    ]


@pytest.mark.parametrize(
    "words",
    [["--quantity", "mass"], ["--quantity", "hardness", "--svg", "/nowhere/at/all.svg"], ["--quantity", "noise"]],
)
def test_what_cannot_be_done_is_one_line(store: str, words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """No reading, no folder, no such quantity."""
    assert 1 == main(["chart", "--store", store, *words])
    assert capsys.readouterr().err.startswith("pourbook: ")
