"""Sampling plans as answered: whole, consistent, and refused with the mend."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.application.sampling_plans import AQLS, sampling_plan
from ledger.errors import MalformedInput


def test_a_plan_in_figures_and_words() -> None:
    """1000 balls at AQL 1.0: letter J, 80, accept 2, reject 3 (MIL-STD-105E, as quoted in a public text)."""
    plan = sampling_plan(1_000, "1.0")
    assert ("J", "J", 80, 2, 3, False) == (plan.lot_letter, plan.letter, plan.n, plan.Ac, plan.Re, plan.whole)
    assert "second-hand" == plan.provenance
    assert "inspect 80 of 1000" in plan.says[0]
    assert (1.03, 6.52) == pytest.approx((plan.producer_percent, plan.consumer_percent), abs=0.005)


def test_an_arrow_changes_the_sample() -> None:
    """400 at 0.65 is letter H, whose arrow leads to J: 80 and not 50."""
    plan = sampling_plan(400, "0.65")
    assert ("H", "J", 80) == (plan.lot_letter, plan.letter, plan.n)


@given(lot=st.integers(2, 10**9), aql=st.sampled_from(AQLS))
def test_laws_of_every_plan(lot: int, aql: str) -> None:
    """The sample is within the lot, Re follows Ac, the curve falls, and the producer's point lies before the consumer's."""
    plan = sampling_plan(lot, aql)
    assert 0 <= plan.Ac < plan.n <= lot
    assert plan.Re == plan.Ac + 1
    assert plan.whole == (plan.n == lot)
    chances = [point.accepted for point in plan.curve]
    assert sorted(chances, reverse=True) == chances
    assert 0 < plan.producer_percent < plan.consumer_percent < 100


def test_a_small_lot_is_inspected_whole() -> None:
    """And the answer says what that means."""
    plan = sampling_plan(5, "0.40")
    assert (True, 5) == (plan.whole, plan.n)
    assert "every ball is inspected" in plan.says[-1]


def test_an_aql_without_a_column() -> None:
    """Named with its field, and those that there are."""
    with pytest.raises(MalformedInput) as refused:
        sampling_plan(100, "1")
    assert ("aql", True, True) == (refused.value.where, bool(refused.value.mend), "0.65" in str(refused.value))
