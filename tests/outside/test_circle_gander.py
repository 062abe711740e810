"""Circle and sphere fits against Gander, Golub and Strebel, BIT 34 (1994) 558-578, and the reference vectors of form.

The paper's points and printed results are from memory; the other profiles are constructed, fitted by another program.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from ledger.conformity.form import fit_circle, fit_linear, fit_sphere, roundness
from tests.outside.metrology_vectors import vector

SIX_POINTS = [(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)]


def test_the_six_points_of_the_paper() -> None:
    """Printed: centre (4.7398, 2.9835), radius 4.7142."""
    found = fit_circle(SIX_POINTS)
    assert ("4.7398", "2.9835", "4.7142") == tuple(f"{number:.4f}" for number in (*found.centre, found.radius))


def test_the_six_points_to_more_places() -> None:
    """Geometric and linear fit differ, and only the first is the result; vector circle-gander."""
    inputs, expected, within = vector("circle-gander")
    found = fit_circle(inputs["points"])
    assert expected["geometric_center"] == pytest.approx(list(found.centre), abs=within)
    assert expected["geometric_radius"] == pytest.approx(found.radius, abs=within)
    assert expected["sum_sq"] == pytest.approx(found.sum_of_squares, abs=within)
    centre, radius = fit_linear(inputs["points"])
    assert expected["linear_ls_center"] == pytest.approx(list(centre), abs=within)
    assert expected["linear_ls_radius"] == pytest.approx(radius, abs=within)


def profile(inputs: dict[str, Any]) -> list[float]:
    """The constructed profile: a radius, an eccentricity and harmonics, at even steps."""
    a, b = inputs["ecc"]
    radii = []
    for i in range(inputs["n"]):
        theta = 2 * math.pi * i / inputs["n"]
        lobes = sum(A * math.cos(k * theta + phi) for k, A, phi in inputs["harmonics_k_amp_phase"])
        radii.append(inputs["R0"] + a * math.cos(theta) + b * math.sin(theta) + lobes)
    return radii


def test_the_roundness_of_a_constructed_profile() -> None:
    """LSCI and the diameter range of one profile, which are not the same thing (ISO 12181-1); vector roundness-a."""
    inputs, expected, within = vector("roundness-a")
    found = roundness(profile(inputs))
    assert expected["center"] == pytest.approx(list(found.circle.centre), abs=within)
    assert expected["radius"] == pytest.approx(found.circle.radius, abs=within)
    assert expected["RONt_lsci"] == pytest.approx(found.lsci, abs=within)
    assert expected["diameter_range"] == pytest.approx(found.diameter_range, abs=within)


def test_a_constructed_sphere() -> None:
    """The geometric least-squares sphere of ten points; vector sphere-ls."""
    inputs, expected, within = vector("sphere-ls")
    found = fit_sphere(inputs["points"])
    assert expected["center"] == pytest.approx(list(found.centre), abs=within)
    assert expected["radius"] == pytest.approx(found.radius, abs=within)
    assert expected["sphericity_ls"] == pytest.approx(found.out_of_round, abs=within)
