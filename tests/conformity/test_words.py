"""ledger.conformity.words: a verdict in one line."""

from __future__ import annotations

from ledger.conformity.house import HousePolicy
from ledger.conformity.verdict import OUTCOMES, judge
from ledger.conformity.words import OUTCOME_WORDS, plain_line
from tests.conformity.balls import ball, reading, requirement


def test_a_line_holds_value_limit_outcome_margin_and_provenance() -> None:
    """What a quality lead looks for stands in one line."""
    measured = ball({"hardness": reading("73.2", "shore_d", "hardness")})
    line = plain_line(judge(requirement(provenance="second-hand"), measured))
    assert (
        line
        == "hardness 73.2 Shore D, limit >= 73 Shore D: conforms by simple acceptance, margin 0.2 Shore D [limit second-hand]"
    )


def test_a_line_without_a_value_gives_the_reason() -> None:
    """A ball that was not measured says so, and why."""
    assert (
        plain_line(judge(requirement(), ball()))
        == "hardness, limit >= 73 Shore D: not measured (hardness has no reading)"
    )


def test_a_line_shows_uncertainty_probability_and_both_rules() -> None:
    """The body's rule and the house's stand in one line, with what would decide."""
    measured = reading("73.2", "shore_d", "hardness", u_scaled=811_111, repeat_scaled=100_000)
    line = plain_line(judge(requirement(), ball({"hardness": measured}), policy=HousePolicy(decision="guarded")))
    assert line == (
        "hardness 73.2 Shore D +/- 1.7 (U, k = 2), limit >= 73 Shore D: conforms by simple acceptance, "
        "margin 0.2 Shore D, probability of conforming 0.597; house rule: undecided, guard band 1.623 Shore D; "
        "more readings will not decide: the gauge's own part of the uncertainty (0.805 Shore D) stays, "
        "and is too large for this margin"
    )


def test_a_line_says_why_a_ball_is_barred_or_a_trigger_asks() -> None:
    """Neither is a failure, and both give their reason; a guard band is not one."""
    soft = ball({"hardness": reading("72", "shore_d", "hardness")})
    barred, asked = (plain_line(judge(requirement(effect=effect), soft)) for effect in ("bar", "trigger"))
    assert "barred from some events, margin -1 Shore D (failing this limit keeps the ball out" in barred
    assert "(more samples are required" in asked
    near = ball({"hardness": reading("73.2", "shore_d", "hardness", u_scaled=800_000)})
    assert "(the value is too near the limit for its uncertainty)" in plain_line(
        judge(requirement(decision="guarded"), near)
    )


def test_every_outcome_has_words() -> None:
    """No outcome is left to be printed as a code."""
    assert set(OUTCOMES) == set(OUTCOME_WORDS)
