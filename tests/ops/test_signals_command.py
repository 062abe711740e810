"""`pourbook signals`: families and one member in lines, pictures in files."""

from __future__ import annotations

from pathlib import Path

import pytest

from ops.cli import main
from tests.application.claimed_plant import claimed_plant
from tests.conformity.pictures import read_back, words_of


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of a book with a bad lot."""
    floor = claimed_plant(tmp_path_factory.mktemp("claimed"))
    floor.book.close()
    return floor.url


@pytest.fixture(autouse=True)
def later(monkeypatch: pytest.MonkeyPatch) -> None:
    """The command is asked half a year after the sale, whatever day it is."""
    monkeypatch.setattr("ops.commands.signals.wall_clock_ms", lambda: 1_807_900_000_000)


def test_families_are_printed_and_drawn(store: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each family with its members that have claims; the picture of one."""
    picture = tmp_path / "shell.svg"
    assert 0 == main(["signals", "--store", store, "--family", "shell", "--svg", str(picture)])
    out = capsys.readouterr().out
    assert "shell: 1 of 3 signal" in out
    assert "  signal: shell SL-2: 14 claims" in out
    assert "SL-2" in words_of(read_back(picture.read_text("utf-8")), "text")
    assert 0 == main(["signals", "--store", store])
    assert "mould: 1 of 1 signal" in capsys.readouterr().out


def test_one_member_is_printed_and_drawn(store: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its words, its claims, both its pictures."""
    curve, forecast = tmp_path / "curve.svg", tmp_path / "forecast.svg"
    words = ["signals", "--store", store, "--family", "shell", "--name", "SL-2", "--months", "6"]
    assert 0 == main([*words, "--svg", str(curve), "--forecast", str(forecast)])
    out = capsys.readouterr().out
    assert "within 6 months" in out
    assert "CL-0: crack-over-block after 20 days, U-2-00 (certain; fact " in out
    assert ["shell SL-2, as of", "claims to come of shell SL-2"] == [
        words_of(read_back(file.read_text("utf-8")), "text")[0].split(" 2027")[0].split(", as")[0] + tail
        for file, tail in ((curve, ", as of"), (forecast, ""))
    ]


@pytest.mark.parametrize(
    "words",
    [["--name", "SL-2"], ["--family", "shell", "--name", "SL-9"], ["--q", "2"], ["--list", "-1"],
     ["--family", "shell", "--svg", "/nowhere/at/all.svg"]],
)  # fmt: skip
def test_what_cannot_be_done_is_one_line(store: str, words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """No family, no such lot, no such rate, no such count, no folder."""
    assert 1 == main(["signals", "--store", store, *words])
    assert capsys.readouterr().err.startswith("pourbook: ")
