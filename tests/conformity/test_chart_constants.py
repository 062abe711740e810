"""ledger.conformity.chart_constants: the constants keep the laws that define them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.chart_constants import c4, d2, d3
from ledger.errors import MalformedQuantity


@given(st.integers(2, 10**7))
def test_neighbouring_c4_multiply_to_a_root(n: int) -> None:
    """c4(n) c4(n+1) = sqrt((n-1)/n): the gamma functions cancel, for small n and where the series takes over."""
    assert pytest.approx(math.sqrt((n - 1) / n), rel=1e-12) == c4(n) * c4(n + 1)


@given(st.integers(2, 10**7))
def test_what_c4_leaves_is_a_quarter_of_a_part(n: int) -> None:
    """1 - c4^2 comes to 1/(2n - 1.5) or so, also where c4 is 1 but for the seventh digit."""
    assert pytest.approx(1 / (2 * n - 1.5), rel=0.45 / n**2 + 1e-6) == 1 - c4(n) ** 2


def test_two_and_three_have_closed_forms() -> None:
    """The range of two is 2/sqrt(pi) with variance 2 - 4/pi; of three 3/sqrt(pi)."""
    assert pytest.approx(2 / math.sqrt(math.pi), abs=1e-11) == d2(2)
    assert pytest.approx(math.sqrt(2 - 4 / math.pi), abs=1e-10) == d3(2)
    assert pytest.approx(3 / math.sqrt(math.pi), abs=1e-11) == d2(3)
    assert pytest.approx(math.sqrt(2 / math.pi), abs=1e-15) == c4(2)


def test_a_range_grows_with_its_number_and_scatters_less() -> None:
    """d2 rises; d3 falls from 3 on."""
    assert sorted(d2(n) for n in range(2, 16)) == [d2(n) for n in range(2, 16)]
    assert sorted((d3(n) for n in range(3, 16)), reverse=True) == [d3(n) for n in range(3, 16)]


def test_one_value_has_no_constant() -> None:
    """A range and a standard deviation need two."""
    for constant in (c4, d2, d3):
        with pytest.raises(MalformedQuantity):
            constant(1)
