"""ledger.conformity.estimate: what two values share is counted once."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.estimate import difference, estimate, estimate_from
from ledger.conformity.uncertainty import Budget, Calibration, Correlation, Term, mean_budget
from ledger.errors import MalformedQuantity

VALUES = st.floats(-1e6, 1e6)
DOUBTS = st.floats(1e-6, 1e3)


@given(VALUES, st.one_of(DOUBTS, st.just(0.0)))
def test_an_input_is_what_was_given(value: float, u: float) -> None:
    """Value and standard uncertainty come back, none included."""
    made = estimate("weight", value, u, "lb")
    assert value == made.value
    assert made.u == pytest.approx(u)
    assert len(made.budget().terms) == (1 if u else 0)


@given(VALUES, DOUBTS)
def test_a_value_less_itself_is_certain(value: float, u: float) -> None:
    """A value differs from itself by nothing, whatever its doubt, and from its double by independent parts."""
    one, other = estimate("a", value, u, "lb"), estimate("b", value, u, "lb")
    assert (0.0, 0.0) == (difference(one, one).value, difference(one, one).u)
    assert difference(one, other).u == pytest.approx(math.sqrt(2) * u)


@given(st.floats(1, 25), DOUBTS)
def test_another_unit_is_the_same_amount(value: float, u: float) -> None:
    """A pound in grams less the pound is nothing, without doubt."""
    pounds = estimate("weight", value, u, "lb")
    assert difference(pounds.in_unit("g"), pounds).u == pytest.approx(0, abs=1e-9 * u)
    assert pounds.in_unit("g").value == pytest.approx(value * 453.59237)


@given(st.lists(st.floats(14, 16), min_size=2, max_size=10))
def test_a_mean_keeps_the_terms_of_its_budget(readings: list[float]) -> None:
    """A budget made into an input and back has the same u and degrees of freedom, and its terms' names."""
    budget = mean_budget(readings, unit="lb", calibration=Calibration(U=0.02), resolution=0.01, name="weight")
    back = estimate_from(budget).budget()
    assert [back.value, back.u] == pytest.approx([budget.value, budget.u])
    assert back.dof == pytest.approx(budget.dof, rel=1e-6)
    assert "weight: calibration" in {term.name for term in back.terms}


def test_correlated_terms_become_one() -> None:
    """Their combined uncertainty and degrees of freedom go on."""
    terms = tuple(Term(name=name, u=1.0, unit="lb", dof=7) for name in "ab")
    budget = Budget(name="sum", value=2.0, unit="lb", terms=terms, correlations=(Correlation("a", "b", 1.0),))
    back = estimate_from(budget).budget()
    assert [("sum", 2.0, 7)] == [(term.name, term.u, term.dof) for term in back.terms]


@pytest.mark.parametrize(
    ("value", "u", "dof"), [(math.nan, 0.1, 1), (1, -0.1, 1), (1, math.inf, 1), (1, math.nan, 1), (1, 0.1, 0)]
)
def test_impossible_inputs_are_refused(value: float, u: float, dof: float) -> None:
    """A value that is none, and a doubt that is none, are refused."""
    with pytest.raises(MalformedQuantity):
        estimate("weight", value, u, "lb", dof=dof)


def test_a_length_is_no_mass() -> None:
    """Amounts of different kinds have no difference."""
    with pytest.raises(MalformedQuantity, match="do not measure the same thing"):
        difference(estimate("a", 1, 0.1, "lb"), estimate("b", 1, 0.1, "in"))
