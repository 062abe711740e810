"""Acceptance sampling against MIL-STD-105E, Tables I and II-A (as quoted in public texts), and against scipy."""

from __future__ import annotations

from typing import Any

import pytest
from scipy import stats

from ledger.conformity.sampling import accept_chance, accept_chance_of_lot, failing_at, find_plan
from tests.outside.metrology_vectors import vector


def printed(aql: float) -> str:
    """The AQL as the table prints it."""
    return f"{aql:.2f}" if aql < 1 else f"{aql:.1f}"


@pytest.mark.parametrize("id", ["as-plans", "as-arrows"])
def test_the_tables_plans_come_out(id: str) -> None:
    """Vectors as-plans and as-arrows: letter, n, Ac and Re; an arrow takes the n of the row that it points to."""
    inputs, expected, _ = vector(id)
    plans = [find_plan(case["lot"], printed(case["AQL"])) for case in inputs["cases"]]
    found: dict[str, list[Any]] = {
        "letter": [plan.letter for plan in plans],
        "n": [plan.sample for plan in plans],
        "Ac": [plan.accept for plan in plans],
        "Re": [plan.reject for plan in plans],
    }
    assert inputs["level"] == "II"
    assert expected == found
    assert {"second-hand"} == {plan.provenance for plan in plans}


def test_the_operating_characteristic_comes_out() -> None:
    """Vector as-oc-125-3: binomial, and hypergeometric in a lot of 3000."""
    inputs, expected, tolerance = vector("as-oc-125-3")
    n, c = inputs["n"], inputs["c"]
    binomial = [accept_chance(n, c, p) for p in inputs["p"]]
    exact = [float(accept_chance_of_lot(3000, round(3000 * p), n, c)) for p in inputs["p"]]
    assert expected["Pa_binomial"] == pytest.approx(binomial, abs=tolerance)
    assert expected["Pa_hypergeom_N3000"] == pytest.approx(exact, abs=tolerance)


def test_the_curve_is_read_at_both_risks() -> None:
    """Vector as-oc-80-2: the shares accepted with 95 and with 10 per cent."""
    inputs, expected, tolerance = vector("as-oc-80-2")
    found = {f"p_at_Pa{chance}": failing_at(inputs["n"], inputs["c"], chance / 100) for chance in (95, 10)}
    assert {name: pytest.approx(value, abs=tolerance) for name, value in expected.items()} == found


@pytest.mark.parametrize(("sample", "accept"), [(2, 0), (20, 0), (80, 2), (1250, 21)])
@pytest.mark.parametrize("failing", [0.0, 0.001, 0.02, 0.3, 1.0])
def test_chances_agree_with_scipy(sample: int, accept: int, failing: float) -> None:
    """scipy.stats.binom and hypergeom."""
    assert accept_chance(sample, accept, failing) == pytest.approx(
        float(stats.binom.cdf(accept, sample, failing)), rel=1e-9
    )
    lot = 3 * sample
    bad = round(failing * lot)
    expected = float(stats.hypergeom.cdf(accept, lot, bad, sample))
    assert float(accept_chance_of_lot(lot, bad, sample, accept)) == pytest.approx(expected, rel=1e-8, abs=1e-15)
