"""Two plants, each with a service and a book of its own, behind one directory."""

from __future__ import annotations

from pathlib import Path

import httpx
import pytest

from ledger.book.checkpoint import parse_checkpoint
from ledger.line.submission import Submission
from ops.cli import main
from tests.plant import line_start, registration
from tests.stores import fresh_file
from tests.whole.serving import new_premises, served

GTIN = "09521234543213"


def begun(*balls: int) -> list[Submission]:
    """The line up to a shell lot, and some balls."""
    return [*line_start(), *(registration(ball) for ball in balls)]


def table(plant: str, origin: str, address: str, verifier: str) -> str:
    """A plant of the directory; both may have engraved the prior numbers of the test line."""
    return (
        f'[[plant]]\nid = "{plant}"\norigin = "{origin}"\naddress = "{address}"\nverifiers = ["{verifier}"]\n'
        f'gtins = ["{GTIN}"]\n[[plant.serials]]\npattern = "P999999"\nshared = true\n[[plant.serials]]\nown = true\n'
    )


def test_directory_finds_asks_and_checks_real_plants(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A number is told by each plant's service for itself, a plant that is down is told, and heads are checked by key."""
    plants = []
    for name, balls in (("north", (1, 2)), ("south", (2, 3))):
        folder = tmp_path / name
        folder.mkdir()
        plants.append(new_premises(folder, fresh_file(folder), begun(*balls), origin=f"{name}.plant.test"))
    file = tmp_path / "plants.toml"
    with served(plants[0]) as north:
        with served(plants[1]) as south:
            tables = (
                table(name, premises.origin, address, premises.verifier)
                for name, premises, address in zip(("north", "south"), plants, (north, south), strict=True)
            )
            file.write_text("format = 1\n" + "".join(tables), "utf-8")
            words = ["directory", "--plants", str(file)]
            assert 0 == main([*words, "whose", "P000001", "--as-read", "--ask"])
            told = capsys.readouterr().out
            assert f"north ({GTIN}): number issued by us\n  Plant Model one 15 lb, made on " in told
            assert f"south ({GTIN}): unknown number: not issued by us under this product" in told
            assert 0 == main([*words, "whose", "P000002", "--as-read", "--ask"])
            assert 2 == capsys.readouterr().out.count("number issued by us")
            assert 0 == main([*words, "check"])
            told = capsys.readouterr().out
            size = parse_checkpoint(httpx.get(f"{north}/checkpoint").content).tree_size
            assert f"north: {size:,} entries, signed by its own key; none published" in told
        assert 1 == main([*words, "check", "--seconds", "2"])
        assert "south: it cannot be reached" in capsys.readouterr().out
        assert 0 == main([*words, "whose", "P000003", "--as-read", "--ask", "--seconds", "2"])
        told = capsys.readouterr().out
        assert f"north ({GTIN}): unknown number" in told
        assert f"south ({GTIN}): no answer, it cannot be reached" in told
        assert 1 == main([*words, "whose", "QQ", "--ask"])
