"""Capability, intervals and tolerance factors against the NIST/SEMATECH e-Handbook, and against scipy and statsmodels."""

from __future__ import annotations

import math
from collections import Counter
from fractions import Fraction

import pytest
from scipy import integrate, optimize, stats

from ledger.conformity.capability import assess, indices
from ledger.conformity.intervals import cp_interval, cpk_interval, exact_interval, wilson_interval
from ledger.conformity.tolerance_factors import factors, one_sided, two_sided
from tests.outside.metrology_vectors import vector


def test_the_handbook_s_indices_come_out() -> None:
    """Vector cpk-nist, e-Handbook 6.1.6: USL 20, LSL 8, mean 16, s 2."""
    inputs, expected, tolerance = vector("cpk-nist")
    found = indices(inputs["mean"], inputs["s"], inputs["LSL"], inputs["USL"])
    got = {"Cp": found.cp, "Cpu": found.cpu, "Cpl": found.cpl, "Cpk": found.cpk, "k": found.k}
    assert {name: pytest.approx(value, abs=tolerance) for name, value in expected.items()} == got


def test_the_interval_of_cp_comes_out() -> None:
    """Vector cp-ci-montgomery (Montgomery, Introduction to SQC, ch. 8, from memory): 1.57 to 3.01."""
    inputs, expected, tolerance = vector("cp-ci-montgomery")
    cp = indices(0.0, inputs["s"], inputs["LSL"], inputs["USL"]).cp
    assert cp == pytest.approx(expected["Cp"], abs=tolerance)
    assert cp is not None
    found = cp_interval(cp, inputs["n"])
    assert expected["ci95"] == [pytest.approx(found.low, abs=tolerance), pytest.approx(found.high, abs=tolerance)]
    assert pytest.approx((1.57, 3.01), abs=0.006) == (found.low, found.high)


def test_the_handbook_s_tolerance_factors_come_out() -> None:
    """Vector tol-nist-43, e-Handbook 7.2.6.3: it prints the approximations; exact ones differ in the third decimal."""
    inputs, expected, tolerance = vector("tol-nist-43")
    found = factors(inputs["n"], inputs["p"], inputs["conf"])
    got = {
        "k1_natrella": found.one_sided_natrella,
        "k2_howe": found.two_sided_howe,
        "k1_exact": found.one_sided,
        "k2_exact": found.two_sided,
    }
    assert {name: pytest.approx(value, abs=tolerance) for name, value in expected.items()} == got


def test_the_factors_of_ten_values_come_out() -> None:
    """Vector tol-n10, ISO 16269-6 tables (from memory): 2.911 and 3.393."""
    inputs, expected, tolerance = vector("tol-n10")
    found = factors(inputs["n"], inputs["p"], inputs["conf"])
    assert expected == {
        "k1_exact": pytest.approx(found.one_sided, abs=tolerance),
        "k2_exact": pytest.approx(found.two_sided, abs=tolerance),
    }


@pytest.mark.parametrize("count", [2, 3, 5, 12, 43, 300])
@pytest.mark.parametrize(("content", "confidence"), [(0.9, 0.95), (0.99, 0.95), (0.95, 0.99), (0.5, 0.5)])
def test_two_sided_factors_agree_with_the_other_order_of_integration(
    count: int, content: float, confidence: float
) -> None:
    """Given s instead of the mean, the mean may be off by so much; averaged over s by scipy.stats.chi it is the same k."""

    def off(reach: float) -> float:
        # The furthest mean that still covers the content.
        def spare(x: float) -> float:
            return float(stats.norm.cdf(x + reach) - stats.norm.cdf(x - reach)) - content

        return 0.0 if spare(0.0) <= 0 else float(optimize.brentq(spare, 0, reach + 10))

    def confidence_at(k: float) -> float:
        def given(s: float) -> float:
            chance = math.erf(off(k * s) * math.sqrt(count / 2))
            return chance * float(stats.chi.pdf(s * math.sqrt(count - 1), count - 1)) * math.sqrt(count - 1)

        least = float(stats.norm.ppf((1 + content) / 2)) / k
        return float(integrate.quad(given, least, least + 8 / math.sqrt(count - 1) + 1, limit=200)[0])

    assert confidence_at(two_sided(count, content, confidence)) == pytest.approx(confidence, abs=2e-6)


@pytest.mark.parametrize("count", [2, 10, 1000, 10**6])
def test_one_sided_factors_agree_with_scipy(count: int) -> None:
    """scipy.stats.nct's quantile over the root of n."""
    expected = stats.nct.ppf(0.95, count - 1, stats.norm.ppf(0.99) * math.sqrt(count)) / math.sqrt(count)
    assert one_sided(count, 0.99, 0.95) == pytest.approx(float(expected), rel=1e-9)


def test_the_handbook_s_intervals_of_a_share_come_out() -> None:
    """E-Handbook 7.2.4.1: Wilson 26/200, one-sided 95 % lower 0.09577; exact 4/20, 90 %, 0.071354 to 0.401029."""
    assert wilson_interval(26, 200, 0.95, "lower").low == pytest.approx(0.09577, abs=5e-6)
    exact = exact_interval(4, 20, 0.90)
    # The handbook's upper end is 1e-6 off: 0.4010281 to seven places.
    assert pytest.approx((0.071354, 0.401029), abs=2e-6) == (exact.low, exact.high)


@pytest.mark.parametrize(("hits", "count"), [(0, 5), (1, 5), (3, 480), (26, 200), (5, 5), (999, 1000)])
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
def test_intervals_of_a_share_agree_with_statsmodels_and_scipy(hits: int, count: int, confidence: float) -> None:
    """Statsmodels proportion_confint (wilson, beta) and scipy binomtest (wilson, exact)."""
    from statsmodels.stats.proportion import proportion_confint  # noqa: PLC0415  # slow to load

    test = stats.binomtest(hits, count)
    for found, method, name in (
        (wilson_interval(hits, count, confidence), "wilson", "wilson"),
        (exact_interval(hits, count, confidence), "beta", "exact"),
    ):
        low, high = proportion_confint(hits, count, alpha=1 - confidence, method=method)
        other = test.proportion_ci(confidence, name)
        assert pytest.approx((low, high), abs=1e-9) == (found.low, found.high)
        assert pytest.approx((other.low, other.high), abs=1e-9) == (found.low, found.high)


@pytest.mark.parametrize("count", [30, 100, 1000])
@pytest.mark.parametrize("index", [0.67, 1.0, 1.67])
def test_bissell_comes_near_the_exact_one_sided_interval(count: int, index: float) -> None:
    """For one limit the exact ends follow from noncentral t (scipy.stats.nct); from 30 values on Bissell's are near."""
    root = math.sqrt(count)

    def end(tail: float) -> float:
        def gap(true: float) -> float:
            return float(stats.nct.cdf(3 * index * root, count - 1, 3 * true * root)) - tail

        return float(optimize.brentq(gap, 0.2 * index, 2.5 * index))

    found = cpk_interval(index, count)
    assert pytest.approx((found.low, found.high), rel=0.04) == (end(0.975), end(0.025))


def test_mean_s_and_expected_share_agree_with_scipy() -> None:
    """scipy.stats.describe and norm on readings of a made lot."""
    values = [round(75 + 0.8 * float(stats.norm.ppf((at + 0.5) / 200)), 1) for at in range(200)]
    found = assess(Counter(round(value * 10**6) for value in values), low=Fraction(74), high=Fraction(77))
    described = stats.describe(values)
    assert pytest.approx((described.mean, described.variance)) == (found.mean, found.s**2)
    expected = stats.norm.cdf(74, found.mean, found.s) + stats.norm.sf(77, found.mean, found.s)
    assert found.outside.expected == pytest.approx(float(expected), rel=1e-9)
