"""ledger.conformity.probability: conformance probability, guard bands and the readings that would decide."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.probability import (
    Parts,
    acceptance_limits,
    capability_index,
    conformance_probability,
    guard_band,
    normal_below,
    parts_of,
    probability_text,
    readings_to_decide,
    specific_risk,
)

VALUES = st.floats(-100, 100)
SPREADS = st.floats(0.001, 50)


@given(VALUES, VALUES, SPREADS, VALUES)
def test_probability_rises_with_the_distance_from_a_lower_limit(one: float, other: float, u: float, low: float) -> None:
    """The larger of two values is at least as likely to lie above a limit."""
    less, more = sorted((one, other))
    assert conformance_probability(less, u, low=low) <= conformance_probability(more, u, low=low) + 1e-15


@given(VALUES, SPREADS, VALUES, VALUES)
def test_the_shares_below_within_and_above_are_the_whole(value: float, u: float, one: float, other: float) -> None:
    """What lies under a range, in it and over it adds up to one."""
    low, high = sorted((one, other))
    within = conformance_probability(value, u, low=low, high=high)
    under, over = conformance_probability(value, u, high=low), conformance_probability(value, u, low=high)
    assert math.isclose(1, under + within + over, abs_tol=1e-12)


@given(VALUES, SPREADS)
def test_a_value_on_its_only_limit_is_as_likely_in_as_out(limit: float, u: float) -> None:
    """Without a prior the limit itself has one half."""
    assert 0.5 == conformance_probability(limit, u, low=limit) == conformance_probability(limit, u, high=limit)


def test_without_a_limit_all_conforms_and_without_spread_the_value_decides() -> None:
    """No limit drops both terms; u = 0 leaves certainty, limits included."""
    assert 1 == conformance_probability(3, 1)
    assert [0, 1, 1, 0] == [conformance_probability(value, 0, low=2, high=3) for value in (1.9, 2, 3, 3.1)]


def test_small_shares_keep_their_digits_on_both_sides() -> None:
    """A range nine u away has the share of either tail, not a rounded zero."""
    above = conformance_probability(0, 1, low=9, high=10)
    assert above == conformance_probability(0, 1, low=-10, high=-9) > 0
    assert math.isclose(above, normal_below(-9), rel_tol=1e-4)


@pytest.mark.parametrize(
    ("probability", "text"),
    [
        (0.8712, "0.871"), (0.5, "0.500"), (0.99, "0.990"), (0.99123, "0.9912"), (0.999966, "0.999966"),
        (0.0000004, "0.000001"), (1 - 1e-12, "0.999999"), (1e-300, "0.000001"), (0.0, "0"), (1.0, "1"),
    ],
)  # fmt: skip
def test_only_what_is_certain_reads_as_certain(probability: float, text: str) -> None:
    """Near 0 and 1 more places are given, and no rounding makes certainty."""
    assert text == probability_text(probability)


def test_guard_bands_move_the_limits_inwards_and_rejection_bands_outwards() -> None:
    """A = T -/+ w with w = r 2u; a limit that is not there stays away."""
    assert (10.5, 19.5) == acceptance_limits(10, 20, guard_band(1, 0.25))
    assert (9.5, None) == acceptance_limits(10, None, guard_band(-1, 0.25))


def test_the_capability_index_is_the_tolerance_over_four_u() -> None:
    """T = 0.4, u = 0.04: 2.5."""
    assert math.isclose(2.5, capability_index(1499.8, 1500.2, 0.04), rel_tol=1e-9)


@given(st.floats(0, 1))
def test_one_decision_risks_the_one_or_the_other(probability: float) -> None:
    """Consumer's and producer's specific risk add up to one."""
    assert math.isclose(1, specific_risk(probability, accepted=True) + specific_risk(probability, accepted=False))


@given(st.floats(0, 10), st.floats(0, 10), st.integers(1, 50))
def test_the_parts_make_the_whole_again(repeat: float, fixed: float, readings: int) -> None:
    """Taking u apart and together gives u."""
    u = math.hypot(repeat / math.sqrt(readings), fixed)
    assert math.isclose(u, parts_of(u, repeat, readings).u, rel_tol=1e-9, abs_tol=1e-9)


@given(st.floats(0.001, 10), st.floats(0.001, 10), st.integers(1, 20), st.floats(0.01, 10), st.floats(0.5, 4))
def test_readings_never_decide_where_the_fixed_part_fills_the_margin(
    repeat: float, fixed: float, readings: int, share: float, factor: float
) -> None:
    """A guard band of the gauge's part alone that reaches the margin stays, however often it is read."""
    margin = fixed * factor * min(1, share)
    assert None is readings_to_decide(margin, Parts(repeat, readings, fixed), factor)


@given(st.floats(0.01, 10), st.floats(0, 0.99), st.floats(0.01, 10), st.integers(1, 20), st.floats(0.5, 4))
def test_the_number_of_readings_is_enough_and_one_less_is_not(
    margin: float, share: float, repeat: float, readings: int, factor: float
) -> None:
    """Where the fixed part leaves room, the readings named bring the band within the margin, and one fewer does not."""
    parts = Parts(repeat, readings, share * margin / factor)
    further = readings_to_decide(-margin, parts, factor)
    assert further is not None
    assert factor * parts.with_readings(readings + further) <= margin * (1 + 1e-9)
    if further > 0:
        assert factor * parts.with_readings(readings + further - 1) > margin * (1 - 1e-9)


def test_a_worked_number_of_readings() -> None:
    """Margin 0.5, s = 1, f = 0.1, factor 2: 1/(0.25^2 - 0.1^2) = 19.05, so 20 in all and 17 more than 3."""
    assert 17 == readings_to_decide(0.5, Parts(1, 3, 0.1), 2)
