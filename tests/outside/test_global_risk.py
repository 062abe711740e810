"""Global risks (JCGM 106:2012, 9.5; clause from memory) against other ways of computing them.

The resistor lot's set-up is recalled from the standard, its figures are computed; see the collected vectors in
``../shared/reference/vectors`` where that folder is present.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
import scipy.integrate
import scipy.stats

from ledger.conformity.probability import capability_index, guard_band
from ledger.conformity.risk import Production, Tolerance, global_risk

VECTORS = Path(__file__).parents[3] / "shared" / "reference" / "vectors" / "metrology.json"


def vector(id: str) -> dict[str, Any]:
    """One collected vector."""
    if not VECTORS.is_file():
        pytest.skip("the folder of collected vectors is not beside this project")
    found: dict[str, Any] = next(one for one in json.loads(VECTORS.read_text()) if one["id"] == id)
    return found


@pytest.mark.parametrize(("r", "consumer", "producer"), [(0, 0.01894, 0.03721), (1, 0.000469, 0.2477)])
def test_the_resistor_lot(r: float, consumer: float, producer: float) -> None:
    """T = 1500 +/- 0.2 ohm, u0 = 0.12, um = 0.04, so Cm = 2.5 (computed three ways when it was collected)."""
    risk = global_risk(Production(1500, 0.12), 0.04, Tolerance(1499.8, 1500.2), guard_band(r, 0.04))
    assert math.isclose(consumer, risk.consumer, rel_tol=2e-3)
    assert math.isclose(producer, risk.producer, rel_tol=2e-3)
    assert math.isclose(2.5, capability_index(1499.8, 1500.2, 0.04), rel_tol=1e-9)


@pytest.mark.parametrize("id", ["global-risk-resistor-r0", "global-risk-resistor-r1", "global-risk-diameter"])
def test_the_collected_figures(id: str) -> None:
    """Consumer's and producer's risk to ten places."""
    given, expected = vector(id)["inputs"], vector(id)["expected"]
    risk = global_risk(
        Production(given["prior_mean"], given["u0"]),
        given["um"],
        Tolerance(given["TL"], given["TU"]),
        guard_band(given["r"], given["um"]),
    )
    assert math.isclose(expected["RC"], risk.consumer, abs_tol=1e-10)
    assert math.isclose(expected["RP"], risk.producer, abs_tol=1e-10)
    assert math.isclose(expected.get("p_conform_prior", risk.conforming), risk.conforming, abs_tol=1e-11)


@pytest.mark.parametrize(
    ("mean", "sd", "um", "low", "w"),
    [
        (74.5, 1.0, 0.8, 73.0, 0.0),
        (74.5, 1.0, 0.8, 73.0, 1.6),
        (72.0, 0.3, 1.5, 73.0, 0.5),
        (80.0, 2.0, 0.01, 73.0, 0.02),
    ],
)
def test_one_limit_by_the_bivariate_normal(mean: float, sd: float, um: float, low: float, w: float) -> None:
    """P(true value under the limit, reading over the acceptance limit) from scipy's joint distribution."""
    joint = scipy.stats.multivariate_normal([mean, mean], [[sd**2, sd**2], [sd**2, sd**2 + um**2]])
    under_both = float(joint.cdf([low, low + w]))
    under, rejected = scipy.stats.norm.cdf(low, mean, sd), scipy.stats.norm.cdf(low + w, mean, math.hypot(sd, um))
    risk = global_risk(Production(mean, sd), um, Tolerance(low=low), w)
    assert math.isclose(under - under_both, risk.consumer, abs_tol=1e-7)
    assert math.isclose(rejected - under_both, risk.producer, abs_tol=1e-7)


@pytest.mark.parametrize(("sd", "um", "w"), [(0.5, 0.1, 0.0), (0.5, 0.1, 0.2), (2.0, 0.5, -0.3), (0.1, 0.6, 0.1)])
def test_two_limits_by_scipy_s_quadrature(sd: float, um: float, w: float) -> None:
    """The integral over nonconforming values, taken tail by tail by another integrator."""
    mean, low, high = 0.2, -1.0, 1.0

    def accepted(true: float) -> float:
        inside = scipy.stats.norm.cdf(high - w, true, um) - scipy.stats.norm.cdf(low + w, true, um)
        return float(scipy.stats.norm.pdf(true, mean, sd) * inside)

    reach = 12 * sd
    tails = [(high, max(high, mean) + reach), (min(low, mean) - reach, low)]
    expected = sum(scipy.integrate.quad(accepted, *tail, epsabs=1e-12, limit=400)[0] for tail in tails)
    risk = global_risk(Production(mean, sd), um, Tolerance(low, high), w)
    assert math.isclose(expected, risk.consumer, abs_tol=1e-9)
