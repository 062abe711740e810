"""`pourbook claim`: the answer as the desk reads it, with the facts."""

from __future__ import annotations

from pathlib import Path

import pytest

from ops.cli import main
from tests.application.desk_stories import examined, photo
from tests.application.floor import Floor, claimed, held


@pytest.fixture
def url(tmp_path: Path) -> str:
    """A book with a ball on hold, claimed and examined, and a claim on a number that nobody bears."""
    floor = Floor(tmp_path, punctual=True)
    floor.line()
    floor.ball("U-1", "P-1")
    floor.say(held("H-1", node="lot:CL-1"))
    floor.say(claimed("WC-1", serial="P-1", bought_on="2026-09-28", evidence=[photo(floor)]), examined("WC-1"))
    floor.say(claimed("WC-2", serial="NOBODY"))
    floor.book.close()
    return floor.url


def test_a_number_is_answered(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Whose, what, in term by which rule, made of what, what stands out with its facts, and the caution last."""
    asked = ["claim", "P-1", "--store", url, "--bought-on", "2026-09-28", "--on", "2026-10-10"]
    assert 0 == main(asked)
    out = capsys.readouterr().out.splitlines()
    assert "P-1: the number stands on one ball of this book" == out[0]
    assert out[1].startswith("  Model M1, 15 lb, made on 2026-09-24, engraved (unit U-1; [")
    assert "  in term: bought on 2026-09-28, 12 months: to 2027-09-28 inclusive" == out[2]
    assert out[3].startswith("    by the rule: 12 months from purchase (any model, any market; source: ")
    assert out[4].startswith("  made of: shell lot SL-1: certain; ")
    (hold,) = [line for line in out if "a hold is open" in line]
    assert hold.startswith("    - lot:CL-1: a hold is open: H-1, suspect [")
    assert any(line.startswith("    - unit:U-1: earlier claim WC-1 on this ball") for line in out)
    assert "  figures against those of their like: " in "\n".join(out)
    assert out[-2].startswith("terms: no terms were adopted by that day")
    assert "a person decides" in out[-1]


def test_a_claim_is_answered_with_what_speaks_for_what(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The claim, the answer, the proposal with its why, and what each decision needs."""
    assert 0 == main(["claim", "--id", "WC-1", "--store", url])
    out = capsys.readouterr().out.splitlines()
    assert "claim WC-1, opened on 2026-10-04: crack over the weight block; examined" == out[0]
    assert "the facts speak for: accept the claim (known-fault)" in out
    assert any(line.startswith("  - lot:CL-1 (certain): a hold is open: H-1, suspect") for line in out)
    assert "what each decision needs (common practice, no source):" in out
    assert any(line.startswith("    misuse: damaged by use or handling: has what it needs") for line in out)
    assert any("in-term" in line and "lacks a proof of purchase" in line for line in out)


def test_an_unknown_ball_is_asked_about(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The desk is told to read the number again."""
    assert 0 == main(["claim", "--id", "WC-2", "--store", url])
    out = capsys.readouterr().out
    assert "the facts speak for: ask the claimant for more (number-missing)" in out


@pytest.mark.parametrize("words", [[], ["P-1", "--id", "WC-1"]])
def test_one_thing_is_asked_about(url: str, words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """A number or a claim: neither, or both, is refused with the way to ask."""
    assert 1 == main(["claim", *words, "--store", url])
    err = capsys.readouterr().err
    assert "expected a number, or --id and a claim" in err
    assert "to mend it: `pourbook claim " in err


def test_an_unknown_claim_is_not_found(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is made up."""
    assert 1 == main(["claim", "--id", "WC-9", "--store", url])
    assert "claim WC-9 is not in the book" in capsys.readouterr().err
