"""What has no source is said to have none where a person reads it."""

from __future__ import annotations

import datetime as dt

from ledger.warranty.answer import NEAR_EDGE_RULE, Question, answer_question
from ledger.warranty.claim_letter import CAUTION
from ledger.warranty.terms import DEFAULT_IN_FORCE

NO_SOURCE = "common practice, no source"


def test_an_answer_says_which_of_its_rules_have_no_source() -> None:
    """The margin of a cure, the like of a figure, and the terms where the plant has none."""
    answer = answer_question(Question(serial="X", on=dt.date(2026, 1, 1)), [])
    assert [True] * 4 == [
        NO_SOURCE in text
        for text in (answer.near_edge_rule, answer.family_rule, answer.terms.said, DEFAULT_IN_FORCE.source.said)
    ]
    assert "within 15 minutes and one part in 20" in NEAR_EDGE_RULE


def test_a_letter_that_is_written_comes_with_a_word_on_its_wording() -> None:
    """It is to be read before it goes."""
    assert NO_SOURCE in CAUTION
    assert "before it goes" in CAUTION
