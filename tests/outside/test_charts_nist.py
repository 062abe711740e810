"""Control charts against the NIST/SEMATECH e-Handbook (6.3.2), its constants, and the zone rules."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from ledger.conformity import chart_constants
from ledger.conformity.charts import individuals_charts, subgroup_charts
from ledger.conformity.moments import gather
from ledger.conformity.run_rules import WORDS, scan
from tests.outside.metrology_vectors import vector

CONSTANTS = {"d2": chart_constants.d2, "d3": chart_constants.d3, "c4": chart_constants.c4}


def test_the_handbook_s_individuals_chart_comes_out() -> None:
    """Vector imr-nist, e-Handbook 6.3.2.2, with its rounded d2 of 1.128: 50.81, 1.8778, 55.8041, 45.8159."""
    inputs, expected, tolerance = vector("imr-nist")
    readings = [(str(at), round(value * 10**6)) for at, value in enumerate(inputs["x"])]
    chart, moving = individuals_charts(readings, d2_of_2=inputs["d2"])
    found = {"mean": chart.centre, "mr_bar": moving.centre, "ucl": chart.points[0].upper, "lcl": chart.points[0].lower}
    assert {name: pytest.approx(value, abs=tolerance) for name, value in expected.items()} == found
    exact, _ = individuals_charts(readings)
    assert chart.points[0].upper - exact.points[0].upper == pytest.approx(0.0017, abs=5e-5)


@pytest.mark.parametrize("name", ["d2", "d3", "c4"])
def test_generated_constants_are_the_printed_ones(name: str) -> None:
    """Vector const-d2-d3-c4, tables of e-Handbook 6.3.2.1 and ASTM E2587, n from 2 to 10; here to 1e-10."""
    inputs, expected, tolerance = vector("const-d2-d3-c4")
    found = [CONSTANTS[name](n) for n in inputs["n"]]
    assert expected[name] == pytest.approx(found, abs=tolerance)
    assert expected[name] == pytest.approx(found, abs=1e-10)


@pytest.mark.parametrize("n", [2, 5, 25])
def test_the_range_agrees_with_scipy(n: int) -> None:
    """d2 is the mean of scipy.stats.studentized_range with endless degrees of freedom."""
    area, _ = integrate.quad(lambda w: 1 - stats.studentized_range.cdf(w, n, np.inf), 0, 12, epsabs=1e-7)
    assert chart_constants.d2(n) == pytest.approx(area, abs=1e-5)


@pytest.mark.parametrize("n", [2, 7, 60, 150])
def test_c4_agrees_with_scipy(n: int) -> None:
    """c4 sigma is the mean of scipy.stats.chi over the root of its degrees of freedom."""
    assert chart_constants.c4(n) == pytest.approx(float(stats.chi.mean(n - 1)) / math.sqrt(n - 1), rel=1e-12)


def test_subgroup_charts_come_out() -> None:
    """Vector xbar-s: centre lines, limits and sigma of four subgroups of five."""
    inputs, expected, tolerance = vector("xbar-s")
    lots = [(str(at), gather(round(value * 10**6) for value in group)) for at, group in enumerate(inputs["subgroups"])]
    means, deviations = subgroup_charts(lots)
    found = {
        "xbarbar": means.centre,
        "sbar": deviations.centre,
        "ucl_x": means.points[0].upper,
        "lcl_x": means.points[0].lower,
        "ucl_s": deviations.points[0].upper,
        "lcl_s": deviations.points[0].lower,
        "sigma_hat": means.sigma,
    }
    assert {name: pytest.approx(value, abs=tolerance) for name, value in expected.items()} == found


def test_the_zone_rules_signal_where_they_should() -> None:
    """Vector weco-a, Western Electric rules as in e-Handbook 6.3.2, with the conventions stated there."""
    inputs, expected, _ = vector("weco-a")
    assert {str(rule) for rule in WORDS} == set(inputs["rules"])
    found: dict[str, list[int]] = {}
    for signal in scan(inputs["z"]):
        found.setdefault(str(signal.index), []).append(signal.rule)
    assert expected["signals_by_index"] == found


def test_unequal_subgroups_give_back_their_sigma() -> None:
    """Over many made subgroups of 2 to 9 readings the estimate is the sigma that they were drawn with."""
    random = np.random.default_rng(20260302)
    lots = [
        (str(at), gather(int(value) for value in np.rint(random.normal(75e6, 0.8e6, size=random.integers(2, 10)))))
        for at in range(4000)
    ]
    means, deviations = subgroup_charts(lots)
    assert means.sigma == pytest.approx(0.8, rel=0.015)
    # 3 sigma both ways: 0.27 % of normal means signal by rule 1; 3 sigma of four thousand such counts is 0.25 %.
    assert sum(signal.rule == 1 for signal in means.signals) / 4000 == pytest.approx(0.0027, abs=0.0025)
    assert 0 < len(deviations.signals) / 4000 < 0.012
