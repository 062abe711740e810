"""The words of records: every state, stage, grade, verdict, quantity, kind and role that the product has is in the table."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest

from api.pages.words import WORDS, english_word
from ledger.access.roles import ROLES
from ledger.application.public import RECALLED, STATUS
from ledger.conformity.outcome import OUTCOMES
from ledger.line.book_keys import Purpose
from ledger.line.quantity import QUANTITIES
from ledger.line.releases import Grade
from ledger.line.vocabulary import RECORD_OF

LINE = Path(__file__).resolve().parents[2] / "ledger" / "line"


def codes_in_line(pattern: str) -> set[str]:
    """What the sources of the line put for a column."""
    return {code for file in LINE.glob("*.py") for code in re.findall(pattern, file.read_text("utf-8"))}


@pytest.mark.parametrize(
    ("sort", "codes"),
    [
        ("kind", set(RECORD_OF)),
        ("grade", set(get_args(Grade))),
        ("key", set(get_args(Purpose))),
        ("role", set(ROLES)),
        ("verdict", set(OUTCOMES)),
        ("quantity", set(QUANTITIES)),
        ("state", set(STATUS)),
        ("public", {*STATUS.values(), RECALLED}),
    ],
)
def test_every_code_has_its_word(sort: str, codes: set[str]) -> None:
    """No code of the product is shown bare where it has a word in trade."""
    assert set() == codes - set(WORDS[sort])


def test_every_stage_of_a_lot_has_its_word() -> None:
    """The stages that the line gives its lots, as its sources say them."""
    stages = codes_in_line(r'stage="([a-z]+)"') | {"material", "batch", "block", "core", "shell", "imported"}
    assert set() == stages - set(WORDS["stage"])


def test_every_code_the_line_puts_as_a_balls_state_has_its_word() -> None:
    """The states that the sources give a unit."""
    states = codes_in_line(r'alter\(Unit, [^)]*state="([a-z]+)"')
    assert {"released", "shipped", "returned"} <= states
    assert set() == states - set(WORDS["state"])


def test_a_code_without_a_word_is_shown_as_it_stands() -> None:
    """Underscores are opened, and nothing is lost."""
    assert "never heard of" == english_word("state", "never_heard_of")
    assert "x" == english_word("no-such-sort", "x")


def test_words_are_short_and_plain() -> None:
    """No word of a record is empty or ends like a sentence, and none shouts."""
    for sort, words in WORDS.items():
        for code, word in words.items():
            assert word.strip() == word != "", (sort, code)
            assert not word.endswith((".", "!")), (sort, code)
