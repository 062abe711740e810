"""`pourbook directory whose` without any plant behind it: what is printed, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.line.gs1 import format_link
from ledger.line.serial import serial_at
from ops.cli import main
from ops.commands.directory import printable
from tests.tracing.plant_files import GTIN, directory, plant_table

OWN = serial_at(5, bytes(16))
OTHER = "04006381333931"


@pytest.fixture
def words(tmp_path: Path) -> list[str]:
    """The first words of a question to two plants, one of which makes another product."""
    north = plant_table("north", "own = true", 'pattern = "8A99"\nto_on = 2026-06-30')
    file = tmp_path / "plants.toml"
    file.write_bytes(directory(north, plant_table("south", "own = true", gtins=f'["{OTHER}"]')))
    return ["directory", "--plants", str(file)]


def test_own_number_names_both_plants(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Both plants have the own scheme, and it is told that a number of it may be of both."""
    assert 0 == main([*words, "whose", OWN])
    told = capsys.readouterr().out.splitlines()
    assert ["north: it can be, by the own scheme", "south: it can be, by the own scheme"] == told[:2]
    assert "two plants may bear one number of it" in told[2]


def test_scanned_label_names_the_plant_of_its_product(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """The address in a label's code says the product too, and so does --gtin in any of its lengths."""
    assert 0 == main([*words, "whose", format_link("id.example.com", OTHER, OWN)])
    assert capsys.readouterr().out.startswith("south: ")
    assert 0 == main([*words, "whose", OWN, "--gtin", OTHER.lstrip("0")])
    assert "north" not in capsys.readouterr().out


def test_worn_number_says_how_it_was_taken(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """A look-alike is named with its place and the number that it gives; a day after the scheme's end rules it out."""
    assert 0 == main([*words, "whose", "BA12"])
    told = capsys.readouterr().out
    assert "north: it can be, by pattern 8A99 to 2026-06-30, if place 1 is 8; then it is 8A12\n" in told
    assert "common practice, no source" in told
    assert 1 == main([*words, "whose", "8A12", "--made-on", "2026-07-01"])
    assert "of no plant in this directory, as far as it says" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["whose", OWN, "--seconds", "0"], "time for a request is out of range"),
        (["whose", OWN, "--gtin", "123"], "gtin has a length"),
        (["whose", "https://id.example.com/01/09521234543213/10/SL-1"], "label names no ball"),
        (["whose", "Q" * 21], "number has a wrong length"),
        (["check", "--policy", "no-such-file"], "file cannot be read"),
    ],
)
def test_question_that_is_none_is_refused(
    words: list[str], more: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A time, product, label, number or file that is none is one line on standard error."""
    assert 1 == main([*words, *more])
    assert says in capsys.readouterr().err


def test_plain_address_of_another_machine_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plant's address is https, or http on this machine; the line and the file are told."""
    file = tmp_path / "plants.toml"
    file.write_bytes(directory(plant_table("north", "own = true", address='"http://north.test"')))
    assert 1 == main(["directory", "--plants", str(file), "whose", OWN])
    assert f"{file} line 5: address is not https" in capsys.readouterr().err


def test_words_of_others_move_no_cursor() -> None:
    """Control characters in what a plant answers are replaced, and it is cut at 200 characters."""
    assert "a\N{REPLACEMENT CHARACTER}[31mb" == printable("a\x1b[31mb")
    assert 200 == len(printable("x" * 500))
    assert GTIN in printable(GTIN)
