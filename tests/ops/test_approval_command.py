"""`pourbook approval`: the files of a book in lines, and one with what is missing, drawn, signed and changed."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.application.approving import Replace
from ops.cli import main
from tests.application.approved import desk, drawn_file, handed_file, samples
from tests.application.floor import Floor, at, plan


@pytest.fixture
def floor(tmp_path: Path) -> Floor:
    """A plant with its line."""
    made = Floor(tmp_path)
    made.line()
    return made


def told(floor: Floor, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    """Exit code and what was printed."""
    code = main(["approval", *words, "--store", floor.url])
    return code, capsys.readouterr().out


def test_a_file_is_told_while_it_is_worked_on(floor: Floor, capsys: pytest.CaptureFixture[str]) -> None:
    """What is missing, how the samples came about, which was replaced, and that no witness has seen it."""
    try:
        assert (0, "no approval file was opened\n") == told(floor, capsys, "list")
        drawn_file(floor)
        first = samples(floor)[0]
        desk(floor).replace("AF-1", Replace(first, "chipped"), "replace", floor.lead).result(30)
        code, text = told(floor, capsys, "list")
        assert (0, True) == (code, "AF-1  open  M1 revision 1, 15 lb, for body-a  1 of 3 items met; photo" in text)
        _, text = told(floor, capsys, "show", "AF-1")
        assert "OPEN sheet: Data sheet\n         data sheet is missing\n" in text
        assert "axis: The high axis marked (does not apply)" in text
        assert "out of 1 of 1 lots: 3 of 8 balls of 15 lb" in text
        assert "no witness has seen it" in text
        assert f"{first} replaced (chipped), {samples(floor)[-1]} instead" in text
        assert "sign: not now, the file is open" in text
    finally:
        floor.book.close()


def test_a_file_that_went_out_is_told_with_its_changes(floor: Floor, capsys: pytest.CaptureFixture[str]) -> None:
    """Digest, signers, dossier and answer, and what has to be reported."""
    try:
        handed_file(floor)
        floor.say({"kind": "approval-file-answered", "at": at(500), "file": "AF-1", "answer": "more-wanted"})
        floor.say(plan("M1", at=at(501)))
        _, text = told(floor, capsys, "show", "AF-1")
        assert 2 == text.count("signed by account a-")
        assert f"dossier {'d' * 64}" in text
        assert "answered: more-wanted" in text
        assert "change: the process plan was set anew by fact" in text
        assert "TO BE REPORTED" in text
    finally:
        floor.book.close()


def test_a_file_that_is_none_ends_with_one_line(floor: Floor, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 1, the reason and the mend."""
    try:
        assert 1 == main(["approval", "show", "AF-9", "--store", floor.url])
        assert "no approval file AF-9" in capsys.readouterr().err
    finally:
        floor.book.close()
