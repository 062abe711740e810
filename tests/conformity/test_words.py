"""ledger.conformity.words: a verdict in one line."""

from __future__ import annotations

from ledger.conformity.verdict import OUTCOMES, judge
from ledger.conformity.words import OUTCOME_WORDS, plain_line
from tests.conformity.balls import ball, reading, requirement


def test_a_line_holds_value_limit_outcome_margin_and_provenance() -> None:
    """What a quality lead looks for stands in one line."""
    measured = ball({"hardness": reading("73.2", "shore_d", "hardness")})
    line = plain_line(judge(requirement(provenance="second-hand"), measured))
    assert line == "hardness 73.2 Shore D, limit >= 73 Shore D: conforms, margin 0.2 Shore D [limit second-hand]"


def test_a_line_without_a_value_gives_the_reason() -> None:
    """A ball that was not measured says so, and why."""
    assert (
        plain_line(judge(requirement(), ball()))
        == "hardness, limit >= 73 Shore D: not measured (hardness has no reading)"
    )


def test_every_outcome_has_words() -> None:
    """No outcome is left to be printed as a code."""
    assert set(OUTCOMES) == set(OUTCOME_WORDS)
