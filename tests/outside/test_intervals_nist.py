"""Intervals of a share against NIST/SEMATECH e-Handbook 7.2.4.1, which was read, and against a closed form."""

from __future__ import annotations

import pytest

from ledger.conformity.intervals import exact_interval, wilson_interval
from tests.outside.metrology_vectors import vector


def test_wilson_s_lower_end_as_printed() -> None:
    """26 of 200, one-sided at 95 %: 0.09577 (e-Handbook 7.2.4.1)."""
    assert 0.09577 == pytest.approx(wilson_interval(26, 200, 0.95, "lower").low, abs=6e-6)


def test_the_exact_interval_as_printed() -> None:
    """4 of 20 at 90 %: 0.071354 to 0.401029, the last digit of which the handbook's root-finder misses (7.2.4.1)."""
    found = exact_interval(4, 20, 0.90)
    assert (0.071354, 0.401029) == pytest.approx((found.low, found.high), abs=2e-6)


@pytest.mark.parametrize(
    ("id", "confidence"), [("wilson-26-200", 0.95), ("clopper-4-20", 0.90), ("clopper-zero", 0.95)]
)
def test_the_collected_figures(id: str, confidence: float) -> None:
    """To the tolerance of each vector."""
    inputs, expected, within = vector(id)
    assert confidence == inputs["level"]
    hits, count = inputs["x"], inputs["n"]
    found = (
        wilson_interval(hits, count, confidence, "lower")
        if id.startswith("wilson")
        else exact_interval(hits, count, confidence)
    )
    assert expected["lower"] == pytest.approx(found.low, abs=within)
    assert expected.get("upper", found.high) == pytest.approx(found.high, abs=within)


def test_no_hit_has_a_closed_form() -> None:
    """With none of n the exact upper end is 1 - (alpha/2)^(1/n)."""
    assert 1 - 0.025 ** (1 / 120) == pytest.approx(exact_interval(0, 120, 0.95).high, abs=1e-12)
