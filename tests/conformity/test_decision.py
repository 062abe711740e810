"""ledger.conformity.decision: outcomes by each rule, and what more readings would do."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.decision import (
    Figure,
    acceptance_text,
    decide,
    figure_of,
    more_readings_text,
    rule_of,
    shown,
)
from ledger.conformity.house import Rule
from ledger.line.quantity import SCALE
from tests.conformity.balls import reading, requirement

POINTS = st.integers(60 * SCALE, 90 * SCALE).map(lambda scaled: Fraction(scaled, SCALE))
SPREADS = st.integers(0, 5 * SCALE).map(lambda scaled: Fraction(scaled, SCALE))
OPERATORS = st.sampled_from(["<", "<=", ">", ">="])
SIMPLE, THREE_WAY = Rule("simple"), Rule("three_way")


def hardness(value: Fraction | str, u: Fraction | str | None = None, **more: object) -> Figure:
    """A figure in points."""
    figure = Figure(Fraction(value), "shore_d", None if u is None else Fraction(u))
    return figure._replace(**more)  # type: ignore[arg-type]


@given(POINTS, SPREADS, OPERATORS, st.sampled_from(["0", "0.83", "1", "3"]))
def test_guarded_acceptance_implies_simple_acceptance(value: Fraction, u: Fraction, operator: str, r: str) -> None:
    """What a guard band accepts, the bare limit accepts; what the bare limit refuses, the guarded rule refuses."""
    limit = requirement(operator=operator)
    guarded = decide(limit, hardness(value, u), Rule("guarded", r)).outcome
    simple = decide(limit, hardness(value, u), SIMPLE).outcome
    assert guarded != "conforms" or simple == "conforms"
    assert (guarded == "does_not_conform") == (simple == "does_not_conform")


@given(POINTS, SPREADS, OPERATORS)
def test_three_outcomes_partition_the_values(value: Fraction, u: Fraction, operator: str) -> None:
    """Beyond 1.65 u inside, beyond 1.65 u outside, or neither; one limit's mirror image swaps the two shown ones."""
    band = Fraction("1.65") * u
    decision = decide(requirement(operator=operator), hardness(value, u), THREE_WAY)
    shown_in = decision.margin >= band and (decision.margin > 0 or operator in (">=", "<="))
    shown_out = decision.margin < -band or (band == 0 and not shown_in)
    expected = "conforms" if shown_in else "does_not_conform" if shown_out else "undecided"
    assert (expected, band) == (decision.outcome, decision.band)
    assert not (shown_in and shown_out)


def test_two_near_limits_take_more_than_one_tail() -> None:
    """In the middle of limits 4 u apart 95.4 % is shown; 3.6 u apart, 1.8 u inside both, 92.8 % is not."""
    limit = requirement(operator="range", limits=("72", "74"))
    assert "conforms" == decide(limit, hardness("73", "0.5"), THREE_WAY).outcome
    near = decide(limit, hardness("73", Fraction(1, 18) * 10), THREE_WAY)
    assert ("undecided", Fraction("1.96")) == (near.outcome, near.factor)
    assert "so near" in near.why[1]


@pytest.mark.parametrize("rule", [Rule("guarded"), THREE_WAY])
def test_a_rule_with_a_band_needs_an_uncertainty(rule: Rule) -> None:
    """Without u it is undecided, and says so."""
    decision = decide(requirement(), hardness("80"), rule)
    assert ("undecided", None) == (decision.outcome, decision.band)
    assert "needs an uncertainty" in decision.why[0]


@pytest.mark.parametrize(
    ("fields", "band", "text"),
    [
        ({}, "1.6", ">= 74.6 Shore D"),
        ({"operator": "<"}, "1.6", "<= 71.4 Shore D"),
        ({"operator": "range", "limits": ("72", "80")}, "1.6", "73.6 to 78.4 Shore D"),
        (
            {"operator": "range", "limits": ("72", "74")},
            "1.6",
            "none: the guard bands leave nothing between the limits",
        ),
        ({}, "0", ""),
        ({}, None, ""),
    ],
)
def test_acceptance_limits_read_like_limits(fields: dict[str, object], band: str | None, text: str) -> None:
    """A = T -/+ w in words; nothing where there is no band."""
    assert text == acceptance_text(requirement(**fields), None if band is None else Fraction(band))


def test_a_figure_keeps_its_parts_in_another_unit() -> None:
    """Value, u and repeat are converted exactly together."""
    measured = reading("2", "lb", "mass", u_scaled=16_000, repeat_scaled=32_000, readings=4)
    ounces = figure_of(measured).in_unit("oz")
    assert Figure(Fraction(32), "oz", Fraction("0.256"), Fraction("0.512"), 4) == ounces


@pytest.mark.parametrize(
    ("figure", "said"),
    [
        (hardness("73.2", "0.4", repeat=Fraction("0.9"), readings=5), "76 more readings would likely decide"),
        (hardness("73.6", "0.4", repeat=Fraction("0.4")), "1 more reading would likely decide"),
        (hardness("73.2", "0.5", repeat=Fraction("0.1")), "the gauge's own part of the uncertainty (0.4899 Shore D)"),
        (hardness("73.01", "0.4", repeat=Fraction("0.4")), "will not decide in practice: it would take about 6400"),
        (hardness("73", "0.4", repeat=Fraction("0.4")), "while their mean lies on the limit"),
        (hardness("73.2", "0.4"), "the scatter of one is not on record"),
        (hardness("73.2"), ""),
    ],
)
def test_what_more_readings_would_do_is_one_sentence(figure: Figure, said: str) -> None:
    """How many, that none will, or what is missing to tell."""
    decision = decide(requirement(), figure, Rule("guarded"))
    assert "undecided" == decision.outcome
    text = more_readings_text(decision, figure)
    assert said in text if said else text == ""


def test_a_rule_without_a_band_asks_for_no_readings() -> None:
    """Simple acceptance is decided by what there is."""
    figure = hardness("73.2", "0.4", repeat=Fraction("0.4"))
    assert "" == more_readings_text(decide(requirement(), figure, rule_of(requirement())), figure)


@given(st.integers(1, 10**12), st.integers(1, 6))
def test_a_shown_spread_is_never_less_than_the_exact_one(millionths: int, digits: int) -> None:
    """Rounding goes up, by less than one unit of the last digit shown."""
    exact = Fraction(millionths, SCALE)
    text = Fraction(shown(exact, digits))
    assert exact <= text < exact * (1 + Fraction(10) ** (1 - digits))


def test_few_digits_are_shown_as_they_are() -> None:
    """0.0066 stays, 1.622222 becomes 1.623, nothing stays nothing."""
    spreads = (Fraction("0.0066"), Fraction("1.622222"), Fraction(0))
    assert ["0.0066", "1.623", "0"] == [shown(spread) for spread in spreads]
