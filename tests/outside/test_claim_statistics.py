"""Exact tests, false discovery rate and rate ratios of claims against published examples, scipy and statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest, false_discovery_control, fisher_exact, norm, poisson_means_test
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.rates import test_poisson_2indep as poisson_2indep

from ledger.conformity.intervals import wilson_interval
from ledger.warranty.exact_tests import mid_p_by_balls, mid_p_by_exposure, rate_ratio, ratio_interval
from tests.outside.metrology_vectors import vector


def test_fisher_s_tea() -> None:
    """3 of 4 cups against 1 of 4: one-sided 0.243, mid-P 0.129 (Agresti, Categorical Data Analysis; from memory)."""
    inputs, expected, within = vector("fisher-tea")
    [[hits, misses], [rest_hits, rest_misses]] = inputs["table"]
    assert 0.129 == pytest.approx(
        mid_p_by_balls(hits, hits + misses, rest_hits, rest_hits + rest_misses), abs=6e-4
    )  # fmt: skip
    assert expected["midp_greater"] == pytest.approx(mid_p_by_balls(3, 4, 1, 4), abs=within)
    assert expected["p_greater"] == pytest.approx(fisher_exact(inputs["table"], "greater").pvalue, abs=within)


def test_a_lot_against_the_rest() -> None:
    """9 of 400 against 14 of 1,600, by the collected figures."""
    inputs, expected, within = vector("lot-vs-rest")
    found = mid_p_by_balls(inputs["lot_claims"], inputs["lot_n"], inputs["rest_claims"], inputs["rest_n"])
    assert expected["midp_greater"] == pytest.approx(found, abs=within)


def test_a_ratio_of_two_rates() -> None:
    """11 in 800 against 21 in 3,011: ratio 1.971, interval 0.858 to 4.277 (the second example of R's poisson.test; from memory)."""
    inputs, expected, within = vector("poisson-ratio-R")
    [claims, rest], [time, rest_time] = inputs["x"], inputs["T"]
    assert expected["ratio"] == pytest.approx(rate_ratio(claims, time, rest, rest_time), rel=within)
    assert expected["ci"] == pytest.approx(ratio_interval(claims, time, rest, rest_time), rel=within)
    assert (0.8584264, 4.2772659) == pytest.approx(ratio_interval(11, 800, 21, 3011), abs=1e-5)


def test_the_one_sided_p_of_two_rates_is_half_way_to_the_next_count() -> None:
    """Mid-P lies between the exact one-sided P of the count seen and of the next one, both by scipy's binomial test."""
    share = 800 / 3811
    exact = [binomtest(count, 32, share, "greater").pvalue for count in (11, 12)]
    assert sum(exact) / 2 == pytest.approx(float(mid_p_by_exposure(11, 32, share)), abs=1e-12)


def test_the_unconditional_test_of_two_rates() -> None:
    """0 in 100 against 3 in 100: the E-test has 0.0884 (Krishnamoorthy and Thomson 2004); mid-P lies beside half of it.

    The conditional test that is used here errs to the other side: it is never below the E-test's one-sided P in this case.
    """
    inputs, expected, within = vector("poisson-etest")
    found = poisson_means_test(inputs["k"][0], inputs["n"][0], inputs["k"][1], inputs["n"][1])
    assert (expected["statistic"], expected["p"]) == pytest.approx((found.statistic, found.pvalue), abs=within)
    one_sided = poisson_means_test(3, 100, 0, 100, alternative="greater").pvalue
    conditional = binomtest(3, 3, 0.5, "greater").pvalue
    assert one_sided < float(mid_p_by_exposure(3, 3, 0.5)) < conditional
    assert found.pvalue == pytest.approx(poisson_2indep(0, 100, 3, 100, method="etest").pvalue, abs=1e-6)


def test_a_share_against_a_target() -> None:
    """26 of 200 against 0.1: z is 1.414 (NIST/SEMATECH e-Handbook 7.2.4; from memory), so Wilson's lower end at Phi(z) is 0.1."""
    inputs, expected, within = vector("prop-z-26-200")
    confidence = float(norm.cdf(expected["z"]))
    found = wilson_interval(inputs["x"], inputs["n"], confidence, "lower")
    assert inputs["p0"] == pytest.approx(found.low, abs=within)


def test_benjamini_and_hochberg_s_own_example() -> None:
    """Fifteen P of 1995: four are rejected at 0.05 where Bonferroni rejects three (JRSS B 57, section 3.2; from memory)."""
    inputs, expected, within = vector("bh-1995")
    p, q = np.array(inputs["p"]), inputs["q"]
    adjusted = false_discovery_control(p)
    assert expected["adjusted"] == pytest.approx(adjusted, abs=within)
    assert (4, 3) == ((adjusted <= q).sum(), (p <= q / len(p)).sum())
    assert (adjusted <= q).tolist() == multipletests(p, q, "fdr_bh")[0].tolist()
