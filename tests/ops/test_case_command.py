"""`pourbook case`: what is open, one case whole, and whether every ball is accounted for."""

from __future__ import annotations

from pathlib import Path

import pytest

from ops.cli import main
from tests.application.floor import Floor
from tests.application.suspected import answered, mixed_floor, opening, recall, register, ship


def test_cases_are_told_and_added_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`reconcile` ends with 1 until the last ball is answered for."""
    floor = Floor(tmp_path)

    def told(*words: str) -> tuple[int, str]:
        code = main(["case", *words, "--store", floor.url])
        return code, capsys.readouterr().out

    try:
        assert (0, "no case was opened\n") == told("list")
        mixed_floor(floor)
        register(floor, "SHOP-1")
        ship(floor, "SH-1", "A-1", "B-1", to="SHOP-1")
        recall(floor)
        floor.say(opening("C-2", sort="mould", name="MS-3", from_at="2026-09-22T00:00:00.000+00:00"))
        floor.say(opening("C-3", sort="serials", serial_prefix="P-A"))
        floor.say(opening("C-4", sort="serials", first_serial="P-A-1", last_serial="P-A-7"))
        _, text = told("list")
        assert "C-1  open  recall  1 of 1 holds stand  block lot BL-1  (soft, 2026-09-25)" in text
        assert "C-2  open  no action  no hold  mould MS-3 from 2026-09-22T00:00:00.000+00:00" in text
        assert "serials beginning with P-A " in text
        assert "serials P-A-1 to P-A-7 " in text
        code, text = told("reconcile", "C-1")
        assert (1, True, True) == (code, "unaccounted: 2" in text, "SHOP-1: 2 (2 unaccounted)" in text)
        floor.say(answered("SHOP-1", {"unit": "A-1", "said": "sold"}, {"unit": "B-1", "said": "returned"}))
        floor.say(answered("SHOP-1", {"serial": "NO-SUCH", "said": "sold"}))
        code, text = told("reconcile", "C-1")
        assert (0, True) == (code, "contradiction: P-B-1 (B-1): SHOP-1 answered returned" in text)
        code, text = told("show", "C-1")
        assert 0 == code
        for words in ("4 balls, 1 certain, 3 possible", "hold C-1.1 on lot:BL-1: open", "of the case: NO-SUCH",
                      "lots of stage core: 1", "licensed counsel"):  # fmt: skip
            assert words in text
    finally:
        floor.book.close()


def test_an_unknown_case_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With 1 and one line."""
    floor = Floor(tmp_path)
    try:
        assert 1 == main(["case", "show", "C-9", "--store", floor.url])
        assert "case C-9 is not in the book" in capsys.readouterr().err
    finally:
        floor.book.close()
