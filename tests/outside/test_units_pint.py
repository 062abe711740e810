"""Exact units against the library pint, and the reference vectors of units."""

from __future__ import annotations

import math
from fractions import Fraction
from functools import cache
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.estimate import estimate
from ledger.conformity.measurement_models import diameter_from_circumference
from ledger.line.quantity import UNITS, convert, parse_weight
from tests.outside.metrology_vectors import vector

# What pint calls them. Shore D is no unit of any system; a degree here is a difference of degrees.
NAMES = {
    "kg": "kilogram", "g": "gram", "lb": "pound", "oz": "ounce", "mm": "millimeter", "um": "micrometer", "in": "inch",
    "uin": "microinch", "s": "second", "min": "minute", "C": "delta_degree_Celsius", "g_ml": "gram / milliliter", "1": "dimensionless",
}  # fmt: skip
UNKNOWN_TO_PINT = {"shore_d"}


@cache
def registry() -> Any:
    """Units of pint with exact numbers."""
    return pint.UnitRegistry(non_int_type=Fraction)


def by_pint(value: Fraction, unit: str, other: str) -> Fraction:
    """The value in another unit, as pint has it."""
    return Fraction(registry().Quantity(value, NAMES[unit]).to(NAMES[other]).magnitude)


def test_every_unit_is_compared() -> None:
    """A unit that is added is added here too."""
    assert set(UNITS) - UNKNOWN_TO_PINT == set(NAMES) & set(UNITS)


@given(
    st.fractions(-1000, 1000, max_denominator=10**6),
    st.sampled_from(sorted(set(NAMES) & set(UNITS))),
    st.sampled_from(sorted(set(NAMES) & set(UNITS))),
)
def test_every_conversion_is_pint_s_exactly(value: Fraction, unit: str, other: str) -> None:
    """Between any two units of one dimension both give the same fraction."""
    if UNITS[unit].dimension == UNITS[other].dimension:
        assert by_pint(value, unit, other) == convert(value, unit, other)


def test_the_four_factors() -> None:
    """NIST SP 811 (2008), appendix B.8; vector unit-exact."""
    _, expected, _ = vector("unit-exact")
    for name, (unit, other) in {
        "kg_per_lb": ("lb", "kg"),
        "g_per_oz": ("oz", "g"),
        "mm_per_in": ("in", "mm"),
        "um_per_uin": ("uin", "um"),
    }.items():
        assert Fraction(str(expected[name])) == convert(Fraction(1), unit, other)


@pytest.mark.parametrize("id", ["unit-weight-16lb0oz", "unit-weight-15lb2.5oz"])
def test_pounds_and_ounces(id: str) -> None:
    """Exact factors; vectors unit-weight-16lb0oz and unit-weight-15lb2.5oz."""
    inputs, expected, within = vector(id)
    value, unit = parse_weight(f"{inputs['lb']} lb {inputs['oz']} oz")
    # The vector prints twelve figures.
    assert expected["kg"] == pytest.approx(float(convert(value, unit, "kg")), abs=max(within, 5e-12))


def test_a_roughness_limit_in_two_units() -> None:
    """50 uin is 1.27 um exactly; vector ra-limit-units."""
    inputs, expected, _ = vector("ra-limit-units")
    assert Fraction(str(expected["um"])) == convert(Fraction(inputs["Ra_limit_uin"]), "uin", "um")


def test_the_printed_pairs_of_limits_are_no_equivalents() -> None:
    """A ball of 8.500 in would miss the circumference's lower limit of 26.704 in; vector unit-circ-diam."""
    inputs, expected, within = vector("unit-circ-diam")
    found = [diameter_from_circumference(estimate("c", c, 0, "in")).value for c in inputs["circumference_in"]]
    assert expected["d_from_c"] == pytest.approx(found, abs=within)
    assert expected["c_from_d"] == pytest.approx([math.pi * d for d in inputs["diameter_in"]], abs=within)
    assert inputs["diameter_in"][0] < found[0]
    assert found[1] > inputs["diameter_in"][1]
