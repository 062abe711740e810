"""`pourbook impact`: reports that a quality lead would paste."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.store.reader import open_reader
from ops.cli import main
from tests.application.floor import Floor, calibrated, corrected, inspected
from tests.application.impacts import stocked


@pytest.fixture
def plant(tmp_path: Path) -> Iterator[Floor]:
    """Nine balls; the durometer was found to read a point too much, and one reading was corrected."""
    floor = Floor(tmp_path)
    floor.line()
    stocked(floor)
    floor.say(calibrated("hardness", 120, as_found_good=False, as_found="1"))
    yield floor
    floor.book.close()


def report(plant: Floor, capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """What is printed."""
    assert 0 == main(["impact", *words, "--store", plant.url, "--rulebook", "usbc-2026"])
    return capsys.readouterr().out


def test_the_rule_changes(plant: Floor, capsys: pytest.CaptureFixture[str]) -> None:
    """Both sides, the counts, then what is in stock and what is out."""
    out = report(plant, capsys, "rules", "--made-on-before", "2018-05-01")
    assert "as if made on 2018-05-01" in out
    assert "9 balls judged on" in out
    assert "in shipment SH-1" in out or "of these in stock" in out
    assert "not an approval" in out.splitlines()[-1]


def test_the_gauge_was_wrong(plant: Floor, capsys: pytest.CaptureFixture[str]) -> None:
    """The finding, the bias, where the balls are, and first the balls that the shift changes, with both values."""
    out = report(plant, capsys, "gauge", "--gauge", "G-HARDNESS", "--list", "2")
    lines = out.splitlines()
    assert "9 balls rest on a reading of that time, judged on hardness" in lines
    assert "  of these in stock 6, shipped 3 (6 engraved, 3 shipped)" in lines
    assert "with the bias taken out, 2 come out otherwise" in lines
    assert "  2 from conforms to does not conform" in lines
    assert "then does not conform, 72 Shore D against >= 73 Shore D, margin -1 Shore D" in out
    assert out.index("2 from conforms") < out.index("P-4 (U-4), lot SL-1, shipped in SH-1")
    assert "and further balls; --list N names more" in lines


def test_a_correction_landed(plant: Floor, capsys: pytest.CaptureFixture[str]) -> None:
    """The corrected fact, the reading before and now, and what it showed."""
    with open_reader(plant.book.store) as reader:
        fact = next(one.address for one in reader.facts_about("unit:U-7") if type(one.record).__name__ == "Inspection")
    plant.say(corrected({"fact": fact, "replacement": inspected("U-7", 78, hardness="70", mass="15")}))
    out = report(plant, capsys, "correction", "--fact", fact)
    assert f"  fact {fact}: inspection said anew" in out
    assert "1 balls are touched (1 certain)" in out
    assert f"weight: 15.1 lb with G-MASS (fact {fact}) before, 15 lb with G-MASS (fact {fact}) now" in out
    assert "no reading now" in out


def test_no_list_and_a_refusal(plant: Floor, capsys: pytest.CaptureFixture[str]) -> None:
    """--list 0 prints the counts alone; what cannot be asked is said in one line with the mend."""
    assert "P-4" not in report(plant, capsys, "gauge", "--gauge", "G-HARDNESS", "--list", "0")
    words = ["impact", "rules", "--store", plant.url, "--rulebook", "usbc-2026"]
    assert [1, 1] == [main(words), main([*words, "--made-on", "yesterday"])]
    err = capsys.readouterr().err
    assert "nothing differs between before and after" in err
    assert "--made-on: no such date" in err
    with pytest.raises(SystemExit):
        main([*words, "--list", "-1"])
