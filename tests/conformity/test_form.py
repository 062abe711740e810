"""ledger.conformity.form: circles and spheres are found again, wherever they lie, and lobes show or do not."""

from __future__ import annotations

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity import form
from ledger.errors import MalformedQuantity

PLACES = st.floats(-1e3, 1e3)
RADII = st.floats(0.1, 100)
ROUGH = st.lists(st.floats(-0.01, 0.01), min_size=8, max_size=40)


def on_circle(x: float, y: float, radii: list[float], start: float = 0.0) -> list[tuple[float, float]]:
    """Points at even steps about a centre."""
    steps = [start + 2 * math.pi * i / len(radii) for i in range(len(radii))]
    return [(x + r * math.cos(a), y + r * math.sin(a)) for r, a in zip(radii, steps, strict=True)]


def lobed(lobes: int, amplitude: float, n: int = 360) -> list[float]:
    """Radii of a section with so many lobes."""
    return [4.27 + amplitude * math.cos(lobes * 2 * math.pi * i / n) for i in range(n)]


@given(PLACES, PLACES, RADII, st.integers(3, 20))
def test_a_circle_is_found_again(x: float, y: float, radius: float, n: int) -> None:
    """Points on a circle give its centre and radius, and no out-of-round."""
    found = form.fit_circle(on_circle(x, y, [radius] * n))
    assert [*found.centre, found.radius] == pytest.approx([x, y, radius], abs=1e-8)
    assert found.out_of_round < 1e-8


@given(PLACES, PLACES, PLACES, RADII)
def test_a_sphere_is_found_again(x: float, y: float, z: float, radius: float) -> None:
    """Six points on a sphere give its centre and radius."""
    ends = [(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)]
    found = form.fit_sphere([(x + radius * a, y + radius * b, z + radius * c) for a, b, c in ends])
    assert [*found.centre, found.radius] == pytest.approx([x, y, z, radius], abs=1e-8)


@given(ROUGH, PLACES, PLACES, st.floats(0, 7), st.floats(0.01, 100))
def test_place_turn_and_unit_change_nothing(rough: list[float], x: float, y: float, turn: float, scale: float) -> None:
    """The same section elsewhere, turned, in another unit, is as round."""
    radii = [4.27 + error for error in rough]
    here = form.fit_circle(on_circle(0, 0, radii))
    there = form.fit_circle(on_circle(x, y, [scale * radius for radius in radii], turn))
    assert there.out_of_round == pytest.approx(scale * here.out_of_round, abs=1e-7 * max(scale, 1))
    assert there.radius == pytest.approx(scale * here.radius, rel=1e-7)


@given(ROUGH, st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3))
def test_no_circle_near_it_is_closer(rough: list[float], dx: float, dy: float, dr: float) -> None:
    """The fit's sum of squares is the least: moving the centre or the radius never makes it less."""
    points = on_circle(0.003, -0.002, [4.27 + error for error in rough])
    found = form.fit_circle(points)
    centre = (found.centre[0] + dx, found.centre[1] + dy)
    moved = math.fsum((math.dist(point, centre) - found.radius - dr) ** 2 for point in points)
    assert found.sum_of_squares <= moved + 1e-12


@given(st.integers(1, 10), st.floats(1e-4, 0.02))
def test_a_caliper_is_blind_to_odd_lobes(half: int, amplitude: float) -> None:
    """An odd number of lobes leaves every diameter the same and shows in LSCI; an even one shows in both."""
    odd = form.roundness(lobed(2 * half + 1, amplitude))
    assert odd.diameter_range == pytest.approx(0, abs=1e-9)
    assert odd.lsci == pytest.approx(2 * amplitude, rel=0.05)
    even = form.roundness(lobed(2 * half, amplitude))
    assert even.diameter_range == pytest.approx(4 * amplitude, rel=0.05)
    assert "odd number of lobes" in odd.note


@given(st.floats(-0.01, 0.01), st.floats(-0.01, 0.01))
def test_an_axis_beside_the_centre_is_no_form_error(dx: float, dy: float) -> None:
    """A round section that runs out is found round, and its centre where it is."""
    radii = []
    for step in range(72):
        angle = 2 * math.pi * step / 72
        along = dx * math.cos(angle) + dy * math.sin(angle)
        radii.append(along + math.sqrt(along**2 + 4.27**2 - dx**2 - dy**2))
    found = form.roundness(radii)
    assert found.lsci == pytest.approx(0, abs=1e-9)
    assert found.circle.centre == pytest.approx((dx, dy), abs=1e-9)


def test_an_odd_number_of_radii_has_no_diameters() -> None:
    """Only opposite radii make a diameter."""
    assert form.roundness(lobed(3, 0.001, 73)).diameter_range is None


@given(st.lists(st.floats(8, 9), min_size=2))
def test_the_diameter_range_is_the_widest_difference(diameters: list[float]) -> None:
    """Largest less smallest."""
    assert max(abs(a - b) for a in diameters for b in diameters) == form.diameter_range(diameters)


@given(PLACES, PLACES, st.floats(0, 7), st.integers(3, 10))
def test_points_on_one_line_are_refused(x: float, y: float, turn: float, n: int) -> None:
    """No circle lies through a line, and one point many times is no line either."""
    line = [(x + i * math.cos(turn), y + i * math.sin(turn)) for i in range(n)]
    for points in (line, [(x, y)] * n):
        with pytest.raises(MalformedQuantity, match="one line"):
            form.fit_circle(points)
    with pytest.raises(MalformedQuantity, match="one plane"):
        form.fit_sphere([(px, py, 1.0) for px, py in [*line, (x, y + 5.0)]])


@pytest.mark.parametrize(
    ("points", "reason"),
    [
        ([], "too few"),
        ([(0, 0), (1, 1)], "too few"),
        ([(0, 0), (1, 0), (0, 1, 0)], "another number of coordinates"),
        ([(0, 0), (1, 0), (0, math.nan)], "not finite"),
        ([(0, 0), (1, 0), (0, math.inf)], "not finite"),
    ],
)
def test_points_that_are_none_are_refused(points: list[tuple[float, ...]], reason: str) -> None:
    """Too few points, or coordinates that are none, are refused with the reason."""
    with pytest.raises(MalformedQuantity, match=reason):
        form.fit_circle(points)
    with pytest.raises(MalformedQuantity, match=reason):
        form.fit_linear(points)


def test_radii_and_diameters_that_are_none_are_refused() -> None:
    """A radius is a length, a section has at least three, and a range is of two diameters."""
    with pytest.raises(MalformedQuantity, match="too few"):
        form.roundness([4.27, 4.27])
    with pytest.raises(MalformedQuantity, match="radius is not positive"):
        form.roundness([4.27, 4.27, -4.27])
    with pytest.raises(MalformedQuantity, match="diameters are too few"):
        form.diameter_range([8.5])
    with pytest.raises(MalformedQuantity, match="diameter is not positive"):
        form.diameter_range([8.5, 0.0])


@given(st.lists(st.tuples(PLACES, PLACES), max_size=12))
def test_any_points_give_a_circle_or_our_error(points: list[tuple[float, float]]) -> None:
    """No set of points gives any error but ours, and a circle found has a radius."""
    with contextlib.suppress(MalformedQuantity):
        assert form.fit_circle(points).radius > 0
