"""Conformance probability and decision rules against published examples.

JCGM 106:2012 (clauses and figures from memory), ILAC-G8:09/2019 Table 1 (bounds as quoted in other public texts),
ISO 14253-1:2017 (rule from memory).  Fuller figures are read from ``../shared/reference/vectors`` where it is present.
"""

from __future__ import annotations

import json
import math
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import scipy.stats

from ledger.conformity.decision import Figure, decide
from ledger.conformity.house import Rule
from ledger.conformity.probability import (
    acceptance_limits,
    conformance_probability,
    guard_band,
    normal_below,
    specific_risk,
)
from tests.conformity.balls import requirement

VECTORS = Path(__file__).parents[3] / "shared" / "reference" / "vectors" / "metrology.json"
ZONES = {"conforms": "conforms", "does-not-conform": "does_not_conform", "inconclusive": "undecided"}


def vector(id: str) -> dict[str, Any]:
    """One collected vector."""
    if not VECTORS.is_file():
        pytest.skip("the folder of collected vectors is not beside this project")
    found: dict[str, Any] = next(one for one in json.loads(VECTORS.read_text()) if one["id"] == id)
    return found


def test_zener_voltage_of_jcgm_106() -> None:
    """7.3: y = -5.47 V, u = 0.05 V, upper limit -5.40 V: 0.92."""
    assert 0.92 == round(conformance_probability(-5.47, 0.05, high=-5.40), 2)


def test_oil_viscosity_of_jcgm_106() -> None:
    """7.4: y = 13.6, u = 1.8, limits 12.5 and 16.3: 0.66."""
    assert 0.66 == round(conformance_probability(13.6, 1.8, low=12.5, high=16.3), 2)


def test_radar_speed_of_jcgm_106() -> None:
    """8.3.3: u = 2 %, 99.9 % sure of more than 100 km/h: fined from 107 km/h, and not from 106."""
    shares = [conformance_probability(speed, 0.02 * speed, low=100) for speed in (106, 107)]
    assert [False, True] == [share >= 0.999 for share in shares]
    limit = vector("conf-speed")["expected"]["v_max"]
    assert math.isclose(0.999, conformance_probability(limit, 0.02 * limit, low=100), abs_tol=1e-9)


@pytest.mark.parametrize(("r", "bound"), [(3, 1e-6), (1, 0.025), (0.83, 0.05), (0, 0.5)])
def test_specific_risk_at_the_acceptance_limit_of_ilac_g8(r: float, bound: float) -> None:
    """Table 1: the largest risk of accepting one nonconforming item, with w = rU and U = 2u."""
    accepted_from, _ = acceptance_limits(10, None, guard_band(r, 0.3))
    assert accepted_from is not None
    risk = specific_risk(conformance_probability(accepted_from, 0.3, low=10), accepted=True)
    assert bound / 25 < risk <= bound + 1e-12 or (r == 3 and 0 < risk < bound)


@pytest.mark.parametrize(
    ("id", "r"),
    [
        ("ilac-6-sigma", 3),
        ("ilac-ilac-g8-2009-u", 1),
        ("ilac-iso-14253-1-2017", 0.83),
        ("ilac-simple-acceptance", 0),
        ("ilac-one-sided-U-exact", 1),
    ],
)
def test_the_exact_figures_under_the_ilac_bounds(id: str, r: float) -> None:
    """The collected figures, to a millionth of themselves."""
    [expected] = vector(id)["expected"].values()
    assert math.isclose(expected, conformance_probability(0, 1, low=guard_band(r, 1)), rel_tol=1e-6)


@pytest.mark.parametrize("id", ["conf-zener", "conf-oil"])
def test_the_collected_probabilities(id: str) -> None:
    """Twelve digits of the two examples."""
    given, expected = vector(id)["inputs"], vector(id)["expected"]["pc"]
    found = conformance_probability(given["y"], given["u"], low=given.get("TL"), high=given["TU"])
    assert math.isclose(expected, found, abs_tol=1e-11)


def test_the_collected_table_of_diameters() -> None:
    """Probabilities across an upper limit of 8.595 in."""
    given, expected = vector("conf-diameter-table")["inputs"], vector("conf-diameter-table")["expected"]["pc"]
    for value, share in zip(given["y"], expected, strict=True):
        found = conformance_probability(value, given["u"], low=given["TL"], high=given["TU"])
        assert math.isclose(share, found, abs_tol=1e-11)


def test_the_collected_zones_of_iso_14253() -> None:
    """Three outcomes at both limits of a diameter; 1.65 stands for the 95 % point 1.6449."""
    given = vector("iso14253-zones")
    limit = requirement(
        quantity="diameter",
        unit="in",
        operator="range",
        limits=(str(given["inputs"]["TL"]), str(given["inputs"]["TU"])),
    )
    for case, zone in zip(given["inputs"]["cases"], given["expected"]["verdicts"], strict=True):
        figure = Figure(Fraction(str(case["y"])), "in", Fraction(str(case["u"])))
        assert ZONES[zone] == decide(limit, figure, Rule("three_way")).outcome


@pytest.mark.parametrize("z", [-37.0, -9.0, -3.0, -1.0, 0.0, 0.5, 2.0, 8.0])
def test_the_normal_distribution_is_scipy_s(z: float) -> None:
    """Phi from the error function, far into the tail."""
    assert math.isclose(float(scipy.stats.norm.cdf(z)), normal_below(z), rel_tol=1e-12)
