"""ledger.conformity.tolerance_factors: exact factors order as they must, and the approximations come near."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.conformity.tolerance_factors import factors
from ledger.errors import MalformedQuantity

counts = st.integers(2, 400)
levels = st.sampled_from([0.5, 0.75, 0.9, 0.95, 0.99, 0.999])


@settings(max_examples=40)
@given(counts, levels, levels)
def test_more_values_less_content_and_less_confidence_need_a_smaller_factor(
    count: int, content: float, confidence: float
) -> None:
    """Factors fall with the count and rise with what is asked."""
    here = factors(count, content, confidence)
    assert here.two_sided > factors(count + 1, content, confidence).two_sided or confidence < 0.6
    assert here.two_sided < factors(count, content + (1 - content) / 2, confidence).two_sided
    assert here.two_sided < factors(count, content, confidence + (1 - confidence) / 2).two_sided
    assert here.one_sided < factors(count, content + (1 - content) / 2, confidence).one_sided


@settings(max_examples=40)
@given(counts, levels, levels)
def test_two_sides_lie_between_one_side_of_the_content_and_of_half_the_rest(
    count: int, content: float, confidence: float
) -> None:
    """What a symmetric interval needs is more than one side needs, and at most what each side needs with half the rest."""
    both = factors(count, content, confidence)
    assert both.two_sided > both.one_sided - 1e-9
    halves = factors(count, (1 + content) / 2, (1 + confidence) / 2)
    assert both.two_sided < halves.one_sided + 1e-9


@settings(max_examples=40)
@given(st.integers(30, 2000), levels, levels)
def test_approximations_come_near_for_many_values(count: int, content: float, confidence: float) -> None:
    """From 30 values on, Howe is within 2 per cent for a confidence to 0.99, and Natrella within 3 for a high content."""
    found = factors(count, content, confidence)
    if confidence <= 0.99:
        assert pytest.approx(found.two_sided, rel=0.02) == found.two_sided_howe
    if content >= 0.9 and confidence <= 0.99:
        assert pytest.approx(found.one_sided, rel=0.03) == found.one_sided_natrella


def test_natrella_has_no_factor_for_two_values() -> None:
    """Her denominator is negative there, and None says so, while the exact factor stands."""
    found = factors(2, 0.95, 0.95)
    assert found.one_sided_natrella is None
    assert pytest.approx(26.26, abs=0.01) == found.one_sided


@pytest.mark.parametrize(
    ("count", "content", "confidence"), [(1, 0.9, 0.9), (9, 0.0, 0.9), (9, 1.0, 0.9), (9, 0.9, 1.0)]
)
def test_what_has_no_factor_is_refused(count: int, content: float, confidence: float) -> None:
    """One value, and a content or confidence of nothing or everything."""
    with pytest.raises(MalformedQuantity):
        factors(count, content, confidence)
