"""ledger.conformity.capability: indices, what lies outside, and what is said beside the figures."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.capability import NO_SPREAD, NORMAL, ONE_SIDED, Capability, assess, capability_lines, indices
from ledger.errors import MalformedQuantity

SCALE = 10**6
LOW, HIGH = Fraction(73), Fraction(78)

readings = st.lists(st.integers(700, 800), min_size=2, max_size=40).filter(lambda values: len(set(values)) > 1)


def counted(values: list[int]) -> Counter[int]:
    """Tenths of a point as whole millionths, counted."""
    return Counter(value * SCALE // 10 for value in values)


@given(st.floats(-100, 100), st.floats(0.01, 10), st.floats(-50, 49), st.floats(0.5, 50))
def test_cpk_is_cp_less_what_the_mean_is_off(mean: float, s: float, low: float, wide: float) -> None:
    """Cpk = Cp (1 - k), and Cp is the mean of both sides."""
    found = indices(mean, s, low, low + wide)
    assert found.cp is not None
    assert found.cpu is not None
    assert found.cpl is not None
    assert found.k is not None
    assert pytest.approx(found.cpk, rel=1e-9, abs=1e-9) == found.cp * (1 - found.k)
    assert pytest.approx((found.cpu + found.cpl) / 2, rel=1e-9, abs=1e-9) == found.cp


@given(readings)
def test_mirrored_readings_change_sides(values: list[int]) -> None:
    """Readings and limits mirrored about 0 give the same indices with the sides changed."""
    here = assess(counted(values), low=LOW, high=HIGH)
    there = assess({-value: times for value, times in counted(values).items()}, low=-HIGH, high=-LOW)
    assert here.indices is not None
    assert there.indices is not None
    assert pytest.approx((here.indices.cpu, here.indices.cpk)) == (there.indices.cpl, there.indices.cpk)
    assert (here.outside.below, here.outside.above) == (there.outside.above, there.outside.below)
    assert pytest.approx(here.outside.expected) == there.outside.expected


@given(readings, st.booleans())
def test_outside_is_what_a_count_finds(values: list[int], strict: bool) -> None:  # noqa: FBT001  # drawn
    """Values beyond a limit are counted, and under a strict limit those on it too."""
    found = assess(counted(values), low=LOW, high=HIGH, strict=strict).outside
    assert sum(value <= 730 if strict else value < 730 for value in values) == found.below
    assert sum(value >= 780 if strict else value > 780 for value in values) == found.above
    assert (found.below + found.above) / len(values) == found.share


@given(readings)
def test_two_limits_open_the_tolerance_interval_to_both_sides(values: list[int]) -> None:
    """The interval is centred with two limits, and ends on the side of the limit with one; one side reaches less far."""
    both = assess(counted(values), low=LOW, high=HIGH)
    lower, upper = assess(counted(values), low=LOW, high=None), assess(counted(values), low=None, high=HIGH)
    assert both.tolerance is not None
    assert lower.tolerance is not None
    assert upper.tolerance is not None
    assert (None, None) == (lower.tolerance[1], upper.tolerance[0])
    assert both.tolerance[0] is not None
    assert lower.tolerance[0] is not None
    assert both.tolerance[0] < lower.tolerance[0] < both.mean


def test_one_limit_has_no_cp_and_says_so() -> None:
    """Cp and k need both limits; Cpk is the side there is."""
    found = assess(counted([740, 750, 760]), low=LOW, high=None)
    assert found.indices is not None
    assert (None, None, None) == (found.indices.cp, found.indices.cpu, found.indices.k)
    assert (found.indices.cpl, None) == (found.indices.cpk, found.cp_interval)
    assert (NORMAL, ONE_SIDED) == found.cautions


def test_equal_values_have_no_index_and_are_counted_still() -> None:
    """No spread gives no index, no interval of one and no expected share; what lies outside is counted all the same."""
    found = assess(counted([720, 720, 720]), low=LOW, high=HIGH)
    assert (None, None, None, None) == (found.indices, found.cp_interval, found.cpk_interval, found.tolerance)
    assert (3, None, (NO_SPREAD,)) == (found.outside.below, found.outside.expected, found.cautions)


@pytest.mark.parametrize(
    ("values", "low", "high"),
    [
        ([], LOW, HIGH),
        ([750], LOW, HIGH),
        ([740, 750], None, None),
        ([740, 750], HIGH, LOW),
        ([740, 750], LOW, LOW),
        ([750, 750], None, None),
    ],
)
def test_few_values_and_limits_that_are_none_are_refused(
    values: list[int], low: Fraction | None, high: Fraction | None
) -> None:
    """Fewer than 2 values, no limit at all, and limits out of order, spread or not."""
    with pytest.raises(MalformedQuantity):
        assess(counted(values), low=low, high=high)


@pytest.mark.parametrize("s", [0.0, -1.0, float("nan"), float("inf")])
def test_indices_need_a_spread(s: float) -> None:
    """A standard deviation is a number above 0."""
    with pytest.raises(MalformedQuantity):
        indices(1.0, s, 0.0, 2.0)


def lines(found: Capability) -> tuple[str, ...]:
    """The report of a hardness."""
    return capability_lines(found, "hardness", "Shore D", 1)


def test_the_report_names_methods_and_cautions() -> None:
    """Every interval has its method beside it, and the report ends with what it takes for granted."""
    said = lines(assess(counted([729, *range(740, 760)]), low=LOW, high=HIGH))
    assert said[0].startswith("hardness: 21 values, mean 74.9, s ")
    assert said[0].endswith("limits 73.0 to 78.0 Shore D")
    assert "these are Pp and Ppk" in said[1]
    assert said[2].endswith("(chi-square)")
    assert said[3].endswith("(Bissell's normal approximation)")
    assert "exact factor" in said[4]
    assert "Howe's" in said[4]
    assert "1 below and 0 above of 21, 4.76%" in said[5]
    assert NORMAL == said[-1]


@pytest.mark.parametrize(
    ("low", "high", "limit", "where"),
    [(LOW, None, "limit: at least 73.0", "lie above"), (None, HIGH, "limit: at most 78.0", "lie below")],
)
def test_the_report_of_one_limit_says_which(
    low: Fraction | None, high: Fraction | None, limit: str, where: str
) -> None:
    """One limit is "at least" or "at most", and so is its tolerance interval."""
    said = lines(assess(counted([740, 760]), low=low, high=high))
    assert limit in said[0]
    assert any(where in line and "Natrella's none" in line for line in said)


def test_the_report_of_equal_values_gives_no_figure_that_is_none() -> None:
    """Neither an index nor a word for a missing one."""
    said = lines(assess(counted([750, 750]), low=LOW, high=HIGH))
    assert [line for line in said if "Cp" in line or "None" in line or "nan" in line] == []
    assert NO_SPREAD == said[-1]
