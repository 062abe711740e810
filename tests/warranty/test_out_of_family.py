"""The rule by which a figure lies out of its family."""

from __future__ import annotations

import statistics
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.warranty.out_of_family import LEAST, LIMIT, SCALE, judge_family

FIGURES = st.integers(-(10**9), 10**9)
FAMILY = st.lists(FIGURES, min_size=LEAST, max_size=60)


@given(FIGURES, st.integers(LEAST, 60))
def test_constant_figures_are_in_family(value: int, count: int) -> None:
    """Where all read alike, that figure too, nothing stands out."""
    assert "in family" == judge_family(value, [value] * count).outcome


@given(FIGURES, FIGURES, st.integers(LEAST, 60))
def test_no_spread_is_never_out_of_family(value: int, other: int, count: int) -> None:
    """Against constant others no figure is out of family, however far away: without a spread there is no measure."""
    assert ("in family" if value == other else "no spread") == judge_family(value, [other] * count).outcome


@given(FIGURES, st.lists(FIGURES, max_size=LEAST - 1))
def test_too_few_others_say_nothing(value: int, others: list[int]) -> None:
    """With fewer than the least number of others there is no verdict and no figure."""
    assert ("too few", len(others), None, None, None) == judge_family(value, others)


@given(FIGURES, FAMILY)
def test_the_rule_is_the_one_stated(value: int, others: list[int]) -> None:
    """Out of family is just beyond 3.5 x 1.4826 x MAD from the median, worked out by another library."""
    exact = [Fraction(other) for other in others]
    middle = statistics.median(exact)
    mad = statistics.median(abs(other - middle) for other in exact)
    beyond = bool(mad) and abs(value - middle) > Fraction("3.5") * Fraction("1.4826") * mad
    assert beyond == (judge_family(value, others).outcome == "out of family")


@given(FIGURES, FAMILY, st.integers(-1000, 1000), st.integers(1, 1000), st.randoms())
def test_shift_scale_and_order_change_nothing(value: int, others: list[int], by: int, times: int, rng: object) -> None:
    """Another zero, another unit and another order of the others leave the verdict as it is."""
    moved = [other * times + by for other in others]
    rng.shuffle(moved)  # type: ignore[attr-defined]  # a Random
    one, two = judge_family(value, others), judge_family(value * times + by, moved)
    assert (one.outcome, one.sigmas) == (two.outcome, two.sigmas)


@pytest.mark.parametrize(
    ("value", "outcome"), [(5_189, "in family"), (5_190, "out of family"), (-5_190, "out of family")]
)
def test_the_limit_itself(value: int, outcome: str) -> None:
    """With a MAD of 1,000 about 0 the limit is 5,189.1 either way."""
    others = [-1_000, 1_000] * 16 + [0]
    verdict = judge_family(value, others)
    assert (outcome, 33) == (verdict.outcome, verdict.others)
    assert [Fraction(0), 1000 * SCALE] == [verdict.median, verdict.sigma]


def test_a_figure_at_the_limit_is_in_family() -> None:
    """Just so many robust sigmas away, and no more, does not stand out."""
    others = [-10_000, 10_000] * 16 + [0]
    verdict = judge_family(51_891, others)
    assert (LIMIT, "in family") == (verdict.sigmas, verdict.outcome)


def test_few_strays_do_not_hide_another() -> None:
    """A third of the others astray leaves median and spread as they are: that is what the rule is for."""
    others = [99, 100, 101] * 20 + [900] * 20
    assert "out of family" == judge_family(900, others).outcome


@given(st.lists(FIGURES, min_size=1, max_size=9))
def test_the_median_is_the_middle(figures: list[int]) -> None:
    """As another library has it, for odd and even numbers of figures."""
    assert statistics.median(list(map(Fraction, figures))) == judge_family(0, figures, least=1).median
