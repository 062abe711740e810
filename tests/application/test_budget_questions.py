"""Amounts as asked with: read strictly, in one of two ways."""

from __future__ import annotations

import math

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.application.budget_questions import Amount, amount_of, dof_of, k_of, mended
from ledger.errors import MalformedQuantity


@given(u=st.integers(0, 10**6), k=st.integers(1, 10))
def test_an_expanded_uncertainty_is_k_standard_ones(u: int, k: int) -> None:
    """Both ways of saying it give one amount; k is 2 where it is not stated."""
    standard = amount_of(Amount(value="5", u=str(u)), "mass", "lb")
    expanded = amount_of(Amount(value="5", expanded=str(u * k), k=str(k)), "mass", "lb")
    unstated = amount_of(Amount(value="5", expanded=str(2 * u)), "mass", "lb")
    assert (standard.u, standard.u) == pytest.approx((expanded.u, unstated.u))
    assert "lb" == standard.unit


def test_the_term_bears_the_field_s_name() -> None:
    """Or the one given; with its type, degrees of freedom and origin."""
    asked = Amount(value="5", u="1", dof="7", kind="A", how="ten swings")
    [term] = amount_of(asked, "empty_period", "s").budget().terms
    assert ("empty period", "A", 7.0, "ten swings") == (term.name, term.kind, term.dof, term.how)
    [named] = amount_of(asked, "parts[0].density", "g_ml", name="density of resin").budget().terms
    assert "density of resin" == named.name


def test_what_is_not_stated() -> None:
    """Degrees of freedom are infinite then, k is 2."""
    assert (math.inf, 2.0) == (dof_of(msgspec.UNSET, "dof"), k_of(msgspec.UNSET, "k"))


def test_zero_where_it_is_allowed() -> None:
    """An offset may be none; a mass may not."""
    assert 0.0 == amount_of(Amount(value="0", u="1"), "offset", "in", zero_allowed=True).value
    with pytest.raises(MalformedQuantity) as refused:
        amount_of(Amount(value="0", u="1"), "mass", "lb")
    assert ("mass.value", "send a figure of more than 0") == (refused.value.where, refused.value.mend)


def test_a_model_s_refusal_keeps_its_own_mend() -> None:
    """The field is the body's; a mend that the model knows stands, and so does its field where none is given."""
    for own, where, expected in (("", "a", ("a", "ours")), ("theirs", "", ("b", "theirs"))):
        with pytest.raises(MalformedQuantity) as refused, mended(where, "ours"):
            raise MalformedQuantity("no", where="b", mend=own)
        assert expected == (refused.value.where, refused.value.mend)
