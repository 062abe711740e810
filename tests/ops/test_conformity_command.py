"""`pourbook conformity`: a table to paste into a report, one ball with its reasons, and files."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.conformity.outcome import CAUTION
from ops.cli import main
from tests.application.floor import Floor, blocks, engraved, inspected
from tests.application.recipes import batches, core_lot, revised, shell_lot


@pytest.fixture
def url(tmp_path: Path) -> str:
    """A book with a good ball, a soft one, and one without some readings."""
    floor = Floor(tmp_path)
    floor.line()
    floor.ball("U-1", "P-1")
    floor.ball("U-2", "P-2", readings={"hardness": "72.5"})
    floor.book.close()
    return floor.url


def asked(url: str, *words: str) -> list[str]:
    """The words of the command."""
    return ["conformity", "--store", url, "--rulebook", "usbc-2026", *words]


def test_the_table_counts_by_limit(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each limit in words with its counts, the nearest ball, and where the limit was read."""
    assert 0 == main(asked(url))
    out = capsys.readouterr().out.splitlines()
    [hardness] = [line for line in out if line.startswith("hardness >= 73 Shore D ")]
    assert ("1", 1) == (hardness.split("Shore D", 1)[1].split()[0], hardness.count("P-2"))
    assert "-0.5 Shore D" in hardness
    assert CAUTION == out[-1]


def test_one_ball_is_told_with_reasons(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every verdict that applies; nothing of what does not."""
    assert 0 == main(asked(url, "--serial", "P-2"))
    out = capsys.readouterr().out
    assert out.startswith("P-2, engraved, lot SL-1: does not conform under usbc-2026")
    assert "hardness 72.5 Shore D, limit >= 73 Shore D: does not conform by simple acceptance, margin -0.5" in out
    assert "not applicable" not in out


def test_balls_in_the_way_are_listed(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """As many as asked for, each with the limits that it does not meet alone."""
    assert 0 == main(asked(url, "--list", "5"))
    out = capsys.readouterr().out
    assert "\nP-2, engraved" in out
    assert "\nP-1, engraved" not in out


def test_files_are_written(url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """CSV and Parquet, one line a ball."""
    pytest.importorskip("pyarrow", reason="the extra for Parquet is not installed")
    files = tmp_path / "balls.csv", tmp_path / "balls.parquet"
    assert 0 == main(asked(url, "--csv", str(files[0]), "--parquet", str(files[1])))
    assert [f"2 balls in {file}" for file in files] == capsys.readouterr().out.splitlines()
    assert (5, b"PAR1") == (len(files[0].read_text("utf-8").splitlines()), files[1].read_bytes()[:4])


def test_one_ball_is_told_with_its_mass_by_the_recipe(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What it should weigh by which lots, how it compares, and that a difference proves nothing."""
    floor = Floor(tmp_path)
    revised(floor)
    batches(floor)
    floor.say(blocks("BL-1", 3, 40))
    floor.say(core_lot("CL-1", "BL-1", 40))
    floor.say(shell_lot("SL-1", ("CL-1", 40)))
    weighed = inspected("U-1", 71, mass="14.5")
    weighed["readings"][0]["expanded"] = "0.02"
    floor.say(engraved("U-1", "P-1"), weighed)
    floor.book.close()
    assert 0 == main(asked(floor.url, "--serial", "P-1"))
    out = capsys.readouterr().out
    assert "mass by the recipe: disagrees\n    block MIX in BL-1, core CORE in CL-1, shell RED: 6780.23 g, U = " in out
    assert "below the recipe's" in out
    assert "proves none of them" in out
