"""ledger.conformity.judged_figure: effects, the figures of a verdict, and the house's answer beside it."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET

from ledger.conformity.facts import Measured
from ledger.conformity.house import HousePolicy, Rule
from ledger.conformity.judged_figure import judge_reading
from ledger.conformity.outcome import HouseVerdict, Verdict
from ledger.conformity.requirement import Method
from ledger.conformity.verdict import judge
from ledger.line.quantity import SCALE
from tests.conformity.balls import ball, reading, requirement

GUARDED = HousePolicy(decision="guarded")


def hardness(text: str, **more: Any) -> Measured:
    """A reading in points, with u = 0.8 and s = 1 unless said otherwise."""
    fields: dict[str, Any] = {"u_scaled": 800_000, "repeat_scaled": SCALE, "readings": 2, "u_from": "gauge study 7"}
    return reading(text, "shore_d", "hardness", **(fields | more))


def house(verdict: Verdict) -> HouseVerdict:
    """The house's answer, which is there."""
    assert isinstance(verdict.house, HouseVerdict)
    return verdict.house


def test_the_figures_of_a_verdict() -> None:
    """U, probability, band, acceptance limit and where u comes from, all in the limit's unit."""
    verdict = judge_reading(requirement(decision="guarded", guard_r="0.83"), hardness("73.2"))
    assert ("undecided", "73.2", "1.6", "0.2", "0.599") == (
        verdict.outcome, verdict.value, verdict.expanded, verdict.margin, verdict.probability,
    )  # fmt: skip
    assert ("1.328", ">= 74.328 Shore D", "gauge study 7") == (verdict.guard_band, verdict.acceptance, verdict.u_from)
    assert UNSET is verdict.house


def test_without_an_uncertainty_there_is_no_probability() -> None:
    """Neither U nor probability nor band, and no word of where u comes from."""
    verdict = judge_reading(requirement(), hardness("73.2", u_scaled=None))
    assert (None, None, None, "", "") == (
        verdict.expanded, verdict.probability, verdict.guard_band, verdict.acceptance, verdict.u_from,
    )  # fmt: skip


def test_both_rules_are_shown() -> None:
    """By the body's simple acceptance it conforms, by the house's guard band it is undecided."""
    verdict = judge_reading(requirement(), hardness("73.2"), policy=GUARDED)
    assert ("conforms", "undecided", "1.6", ">= 74.6 Shore D") == (
        verdict.outcome, house(verdict).outcome, house(verdict).guard_band, house(verdict).acceptance,
    )  # fmt: skip
    assert (
        "house rule (guarded acceptance, w = 1 U): undecided; 0.2 Shore D inside the limit; guard band 1.6 Shore D; "
        "probability of conforming 0.599"
    ) == house(verdict).sentence
    assert "more readings will not decide" in verdict.more_readings


@given(st.integers(60 * SCALE, 90 * SCALE), st.integers(0, 5 * SCALE), st.sampled_from(["guarded", "three_way"]))
def test_the_house_never_changes_what_the_limit_s_own_rule_says(value: int, u: int, decision: Any) -> None:
    """With a policy the verdict differs by the house's answer and what more readings would do, and by nothing else."""
    measured = Measured(value_scaled=value, unit="shore_d", u_scaled=u)
    alone = judge_reading(requirement(), measured)
    beside = judge_reading(requirement(), measured, policy=HousePolicy(decision=decision))
    own = [name for name in Verdict.__struct_fields__ if name not in {"house", "more_readings"}]
    assert [getattr(alone, name) for name in own] == [getattr(beside, name) for name in own]


def test_the_house_has_no_answer_of_its_own_where_nothing_was_measured() -> None:
    """Not measured and not applicable are the same by any rule."""
    for facts, outcome in ((ball(), "not_measured"), (ball(drilled=True), "not_measured")):
        assert outcome == house(judge(requirement(), facts, policy=GUARDED)).outcome
    event = judge(requirement(clock="event"), ball(), policy=GUARDED)
    assert "not_applicable" == house(event).outcome
    assert "as by the limit itself, not applicable" in house(event).sentence


def test_what_blocks_the_limit_blocks_the_house() -> None:
    """A reading not taken as the method asks is undecided by both, and readings are not counted."""
    limit = requirement(method=Method(readings=5))
    verdict = judge_reading(limit, hardness("80"), policy=GUARDED)
    assert ("undecided", "undecided", "") == (verdict.outcome, house(verdict).outcome, verdict.more_readings)
    assert "for the reasons that leave the limit itself undecided" in house(verdict).sentence


def test_a_limit_that_may_not_apply_says_so_for_the_house() -> None:
    """Unknown date: what is not shown to be met is undecided by the house too."""
    limit = requirement(effective_from=ball().made_on)
    verdict = judge(limit, ball({"hardness": hardness("73.2")}, made_on=None), policy=GUARDED)
    assert ("conforms", "undecided") == (verdict.outcome, house(verdict).outcome)
    assert "the limit may not apply" in house(verdict).sentence


@pytest.mark.parametrize(
    ("effect", "text", "outcome", "said"),
    [
        ("bar", "72", "barred", "keeps the ball out of some events"),
        ("bar", "74", "conforms", ""),
        ("trigger", "72", "conforms", "more samples are required"),
        ("trigger", "74", "conforms", "nothing fails by it"),
    ],
)
def test_an_effect_is_not_a_failure(effect: Any, text: str, outcome: str, said: str) -> None:
    """A bar keeps out, a trigger asks for samples, and neither fails a ball; the house's rule has the same effect."""
    verdict = judge_reading(requirement(effect=effect), hardness(text), policy=HousePolicy(decision="simple"))
    assert (outcome, outcome, effect) == (verdict.outcome, house(verdict).outcome, verdict.effect)
    assert said in " ".join(verdict.reasons)


def test_a_trigger_never_stands_in_the_way() -> None:
    """Undecided by its rule it may ask for more samples; without a reading it asks for nothing."""
    limit = requirement(effect="trigger", decision="guarded")
    verdict = judge_reading(limit, hardness("73.2"))
    assert ("conforms", "") == (verdict.outcome, verdict.more_readings)
    assert "more samples may be required" in " ".join(verdict.reasons)
    assert "not_applicable" == judge(limit, ball()).outcome


def test_a_quantity_s_own_house_rule_is_used() -> None:
    """Simple for hardness in a house that guards all else."""
    policy = HousePolicy(decision="guarded", quantities={"hardness": Rule("simple")})
    assert ("conforms", "simple") == (
        house(judge_reading(requirement(), hardness("73.2"), policy=policy)).outcome,
        house(judge_reading(requirement(), hardness("73.2"), policy=policy)).decision,
    )
