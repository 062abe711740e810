"""Uncertainty budgets against the worked examples of the GUM (JCGM 100:2008) and the reference vectors.

Clauses and printed values are from memory; the vectors carry the inputs and the digits beyond the print.
"""

from __future__ import annotations

import itertools
import math

import pytest

from ledger.conformity.estimate import estimate
from ledger.conformity.measurement_models import diameter_from_circumference
from ledger.conformity.uncertainty import (
    Budget,
    Calibration,
    Correlation,
    Term,
    coverage_factor,
    mean_and_s,
    mean_budget,
    rectangular,
    triangular,
)
from tests.outside.metrology_vectors import vector

NO_CALIBRATION = Calibration(U=0.0)


def test_readings_of_a_thermometer() -> None:
    """GUM 4.4.3, table 1: 100.145 C, s 1.489, u 0.333; vector gum-thermometer."""
    inputs, expected, within = vector("gum-thermometer")
    mean, s = mean_and_s(inputs["readings"])
    budget = mean_budget(inputs["readings"], unit="C", calibration=NO_CALIBRATION, resolution=0)
    assert [expected["mean"], expected["s"], expected["u_mean"]] == pytest.approx([mean, s, budget.u], abs=within)
    assert budget.dof == pytest.approx(19)
    assert ("1.489", "0.333") == (f"{s:.3f}", f"{budget.u:.3f}")


def test_rectangle_and_triangle() -> None:
    """GUM 4.4.5 and 4.4.6: within +/- 4 C, 2.3 C and 1.6 C; vector gum-rect-tri."""
    inputs, expected, within = vector("gum-rect-tri")
    assert expected["u_rect"] == pytest.approx(rectangular(inputs["a"]), rel=within)
    assert expected["u_tri"] == pytest.approx(triangular(inputs["a"]), rel=within)
    assert ("2.3", "1.6") == (f"{rectangular(4):.1f}", f"{triangular(4):.1f}")


def test_effective_degrees_of_freedom() -> None:
    """GUM G.4.2: u 1.03 %, 19.0 degrees of freedom, U95 2.2 %; vector gum-ws. A whole number below gives 18 and 2.16."""
    inputs, expected, within = vector("gum-ws")
    terms = tuple(
        Term(name=f"x{i}", u=u, unit="%", dof=dof)
        for i, (u, dof) in enumerate(zip(inputs["u_rel_percent"], inputs["dof"], strict=True))
    )
    budget = Budget(name="y", value=0.0, unit="%", terms=terms)
    assert expected["uc"] == pytest.approx(budget.u, abs=within)
    assert expected["nu_eff"] == pytest.approx(budget.dof, abs=within)
    assert expected["U95_real_dof"] == pytest.approx(budget.expanded(inputs["p"]).U, abs=within)
    assert expected["U95_dof19"] == pytest.approx(budget.u * coverage_factor(19), abs=within)
    assert ("19.0", "2.2") == (f"{budget.dof:.1f}", f"{budget.expanded().U:.1f}")


@pytest.mark.parametrize(
    ("dof", "t95", "t99"),
    [
        (1, "12.71", "63.66"),
        (2, "4.30", "9.92"),
        (5, "2.57", "4.03"),
        (10, "2.23", "3.17"),
        (16, "2.12", "2.92"),
        (20, "2.09", "2.85"),
        (50, "2.01", "2.68"),
        (math.inf, "1.96", "2.58"),
    ],
)
def test_factors_of_the_t_table(dof: float, t95: str, t99: str) -> None:
    """GUM table G.2, columns for 95 % and 99 %."""
    assert (t95, t99) == (f"{coverage_factor(dof):.2f}", f"{coverage_factor(dof, 0.99):.2f}")


def test_calibration_of_an_end_gauge() -> None:
    """GUM H.1.3, H.1.6 and table H.1: u(d) 9.7 nm with 25.6 degrees of freedom; u 32 nm, 16 of them, U99 93 nm."""

    def in_nm(*parts: tuple[float, float]) -> Budget:
        terms = tuple(Term(name=f"part {u} nm", u=u, unit="nm", dof=dof) for u, dof in parts)
        return Budget(name="length", value=50_000_838.0, unit="nm", terms=terms)

    compared = in_nm((5.8, 24), (3.9, 5), (6.7, 8))
    # The print takes 9.7 where more digits give 9.679, and so 25.6 where they give 25.4.
    assert ("9.7", "25.6") == (f"{compared.u:.1f}", f"{compared.dof * (9.7 / compared.u) ** 4:.1f}")
    length = in_nm((25, 18), (compared.u, compared.dof), (2.9, 50), (16.6, 2))
    assert (32, 16) == (round(length.u), math.floor(length.dof))
    assert 93 == round(coverage_factor(16, 0.99) * round(length.u))


def _means(series: dict[str, list[float]]) -> tuple[dict[str, Term], dict[tuple[str, str], float]]:
    """Terms of the means of readings taken together, and their correlation coefficients (GUM 5.2.3)."""
    n = len(next(iter(series.values())))
    terms, r = {}, {}
    for name, values in series.items():
        terms[name] = Term(name=name, u=mean_and_s(values)[1] / math.sqrt(n), unit="", kind="A", dof=n - 1)
    for (a, first), (b, second) in itertools.product(series.items(), repeat=2):
        (mean_a, s_a), (mean_b, s_b) = mean_and_s(first), mean_and_s(second)
        products = [(x - mean_a) * (y - mean_b) for x, y in zip(first, second, strict=True)]
        r[a, b] = math.fsum(products) / ((n - 1) * s_a * s_b)
    return terms, r


def test_resistance_and_reactance_from_readings_taken_together() -> None:
    """GUM H.2, tables H.2 to H.4: R, X and Z, their u and their correlations; vector gum-h2-correlated.

    Printed: 127.732 with u 0.071, 219.847 with 0.295, 254.260 with 0.236; -0.588, -0.485 and 0.993.
    Without the correlations of the readings u(R) would come out as 0.195.
    """
    inputs, expected, within = vector("gum-h2-correlated")
    terms, r = _means({"V": inputs["V"], "I": inputs["I_A"], "phi": inputs["phi_rad"]})
    v, i, phi = (mean_and_s(inputs[name])[0] for name in ("V", "I_A", "phi_rad"))
    z, c, s = v / i, math.cos(phi), math.sin(phi)
    slopes = {"R": (c / i, -z * c / i, -z * s), "X": (s / i, -z * s / i, z * c), "Z": (1 / i, -z / i, 0.0)}
    pairs = tuple(Correlation(a, b, r[a, b]) for a, b in (("V", "I"), ("V", "phi"), ("I", "phi")))

    def budget(value: float, slope: tuple[float, ...], correlations: tuple[Correlation, ...] = pairs) -> Budget:
        parts = tuple(
            Term(name=term.name, u=term.u, unit="", kind="A", sensitivity=each, dof=term.dof)
            for term, each in zip(terms.values(), slope, strict=True)
        )
        return Budget(name="impedance", value=value, unit="ohm", terms=parts, correlations=correlations)

    made = {name: budget(value, slopes[name]) for name, value in (("R", z * c), ("X", z * s), ("Z", z))}
    for name, each in made.items():
        assert [expected[name], expected[f"u{name}"]] == pytest.approx([each.value, each.u], abs=within)
    for a, b in ("RX", "RZ", "XZ"):
        both = budget(0.0, tuple(x + y for x, y in zip(slopes[a], slopes[b], strict=True)))
        shared = (both.variance - made[a].variance - made[b].variance) / (2 * made[a].u * made[b].u)
        assert expected[f"r{a}{b}"] == pytest.approx(shared, abs=within)
    assert made["R"].u < 0.4 * budget(z * c, slopes["R"], ()).u


def test_the_mean_of_weighings() -> None:
    """GUM 4.2, 4.3, 5.1.2 and G.4; vector unc-mean-cal: the calibration's part is not divided by five."""
    inputs, expected, within = vector("unc-mean-cal")
    budget = mean_budget(
        inputs["readings_lb"],
        unit="lb",
        calibration=Calibration(U=inputs["cal_U_lb"], k=inputs["cal_k"]),
        resolution=inputs["resolution_lb"],
    )
    assert [expected["u_A"], expected["u_cal"], expected["u_res"]] == pytest.approx(
        [term.contribution for term in budget.terms], abs=within
    )
    assert expected["mean_lb"] == pytest.approx(budget.value, abs=within)
    assert expected["uc"] == pytest.approx(budget.u, abs=within)
    assert expected["nu_eff"] == pytest.approx(budget.dof, rel=within)
    assert expected["U95_t"] == pytest.approx(budget.expanded(0.95).U, abs=within)
    assert expected["U_k2"] == pytest.approx(budget.expanded_by(2).U, abs=within)


def test_a_diameter_from_a_circumference() -> None:
    """GUM 5.1 with d = c / pi; vector unc-diam-from-circ."""
    inputs, expected, within = vector("unc-diam-from-circ")
    found = diameter_from_circumference(estimate("circumference", inputs["c_in"], inputs["u_c_in"], "in"))
    assert expected["d_in"] == pytest.approx(found.value, abs=within)
    assert expected["u_d_in"] == pytest.approx(found.u, abs=within)
