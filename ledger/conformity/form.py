"""How round a ball is: the circle and the sphere that lie closest to measured points, and what is left.

The circle is the geometric least-squares one: the sum of the squared distances of the points from it is least (Gander,
Golub and Strebel, BIT 34 (1994) 558-578, from memory), which is the LSCI reference circle of ISO 12181-1 (from memory).
The linear fit only gives it a start: it minimises something else, and on a short arc it is far off.

Out-of-round has two meanings, and a limit has to say which: ``lsci``, the distance between the largest and the smallest
deviation from that circle, and ``diameter_range``, the largest less the smallest diameter, as a caliper takes it.

Points and results are in one unit of length, whichever it is.  No filter is applied: what is counted as form and what as
texture is decided by the profile that is given.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Literal

import msgspec

from ledger.errors import MalformedQuantity

FormDefinition = Literal["lsci", "diameter_range"]

BLIND_TO_ODD_LOBES = (
    "a caliper compares diameters only: a ball with an odd number of lobes has equal diameters everywhere and may still "
    "be out of round"
)
"""What a report says beside a ``diameter_range``."""

# Of the points' spread: flatter than this is a line (or a plane) with rounding errors.
_FLAT = 1e-9


class RoundFit(msgspec.Struct, frozen=True, kw_only=True):
    """A circle (two coordinates) or a sphere (three) through points, as closely as one can lie.

    ``residuals``: each point's distance from the centre less the radius, so positive outside; ``out_of_round``: the
    largest residual less the smallest, LSCI roundness for a circle.
    """

    centre: tuple[float, ...]
    radius: float
    residuals: tuple[float, ...]

    @property
    def sum_of_squares(self) -> float:
        """What the fit has made least."""
        return math.fsum(residual**2 for residual in self.residuals)

    @property
    def out_of_round(self) -> float:
        """Peak to valley about the fitted circle or sphere."""
        return max(self.residuals) - min(self.residuals)


class Roundness(msgspec.Struct, frozen=True, kw_only=True):
    """Out-of-round of one section by its two definitions. ``diameter_range`` is None for an odd number of points."""

    lsci: float
    diameter_range: float | None
    circle: RoundFit
    note: str = BLIND_TO_ODD_LOBES


def fit_circle(points: Sequence[Sequence[float]]) -> RoundFit:
    """The geometric least-squares circle of points in a plane.

    Raises MalformedQuantity for fewer than three points, points on one line, or a coordinate that is not finite.
    """
    return _fit(points, 2)


def fit_sphere(points: Sequence[Sequence[float]]) -> RoundFit:
    """The geometric least-squares sphere of points in space.

    Raises MalformedQuantity for fewer than four points, points in one plane, or a coordinate that is not finite.
    """
    return _fit(points, 3)


def fit_linear(points: Sequence[Sequence[float]], dimensions: int = 2) -> tuple[tuple[float, ...], float]:
    """Centre and radius by the linear fit, 2 x.c + d = |x|^2: a start value, no result to report.

    Raises MalformedQuantity as ``fit_circle`` and ``fit_sphere`` do.
    """
    centred, origin, scale = _normalised(points, dimensions)
    centre, radius = _linear(centred)
    return tuple(float(place) for place in origin + scale * centre), float(scale * radius)


def roundness(radii: Sequence[float]) -> Roundness:
    """Out-of-round of a section from the distances of its surface from one axis, at equal steps of a full turn.

    The axis need not be the section's centre: the fit finds that.  A diameter is the sum of two opposite radii.
    Raises MalformedQuantity for fewer than three radii, or one that is not positive.
    """
    n = len(radii)
    if not all(math.isfinite(radius) and radius > 0 for radius in radii):
        raise MalformedQuantity("radius is not positive", where="radii")
    angles = [2 * math.pi * step / n for step in range(n)]
    points = [(r * math.cos(angle), r * math.sin(angle)) for r, angle in zip(radii, angles, strict=True)]
    circle = fit_circle(points)
    diameters = [radii[step] + radii[step + n // 2] for step in range(n // 2)]
    span = None if n % 2 else max(diameters) - min(diameters)
    return Roundness(lsci=circle.out_of_round, diameter_range=span, circle=circle)


def diameter_range(diameters: Sequence[float]) -> float:
    """The largest less the smallest of measured diameters; blind to odd lobes (``BLIND_TO_ODD_LOBES``).

    Raises MalformedQuantity for fewer than two, or one that is not positive.
    """
    if len(diameters) < 2:
        raise MalformedQuantity("diameters are too few", expected="at least two", got=len(diameters), where="diameters")
    if not all(math.isfinite(diameter) and diameter > 0 for diameter in diameters):
        raise MalformedQuantity("diameter is not positive", where="diameters")
    return float(max(diameters) - min(diameters))


def _fit(points: Sequence[Sequence[float]], dimensions: int) -> RoundFit:
    import numpy as np  # noqa: PLC0415 - loaded only where a form is fitted
    from scipy.optimize import least_squares  # noqa: PLC0415 - as numpy

    centred, origin, scale = _normalised(points, dimensions)

    def residuals(parameters: Any) -> Any:
        return np.linalg.norm(centred - parameters[:-1], axis=1) - parameters[-1]

    def slopes(parameters: Any) -> Any:
        away = centred - parameters[:-1]
        # At the centre itself there is no slope, and zero stands for it.
        lengths = np.maximum(np.linalg.norm(away, axis=1, keepdims=True), np.finfo(float).tiny)
        return np.hstack([-away / lengths, -np.ones((len(away), 1))])

    centre, radius = _linear(centred)
    found = least_squares(residuals, [*centre, radius], jac=slopes, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    if not found.success:
        raise MalformedQuantity("points lie near no circle", where="points", mend="spread them over a longer arc")
    return RoundFit(
        centre=tuple(float(place) for place in origin + scale * found.x[:-1]),
        radius=float(scale * found.x[-1]),
        residuals=tuple(float(scale * residual) for residual in residuals(found.x)),
    )


def _linear(centred: Any) -> tuple[Any, Any]:
    import numpy as np  # noqa: PLC0415 - as in _fit

    design = np.hstack([2 * centred, np.ones((len(centred), 1))])
    solution = np.linalg.lstsq(design, (centred**2).sum(axis=1), rcond=None)[0]
    centre = solution[:-1]
    return centre, np.sqrt(solution[-1] + (centre**2).sum())


def _normalised(points: Sequence[Sequence[float]], dimensions: int) -> tuple[Any, Any, float]:
    """The points about their mean and of unit spread, so that no unit and no distance from the origin costs digits."""
    import numpy as np  # noqa: PLC0415 - as in _fit

    least = dimensions + 1
    if len(points) < least:
        raise MalformedQuantity("points are too few", expected=f"at least {least}", got=len(points), where="points")
    if any(len(point) != dimensions for point in points):
        raise MalformedQuantity("point has another number of coordinates", expected=dimensions, where="points")
    array = np.asarray(points, dtype=float)
    if not np.isfinite(array).all():
        raise MalformedQuantity("coordinate is not finite", where="points")
    origin = array.mean(axis=0)
    scale = float(np.sqrt(((array - origin) ** 2).sum(axis=1).mean()))
    spread = np.linalg.svd(array - origin, compute_uv=False)
    if scale == 0 or spread[-1] <= _FLAT * spread[0]:
        flat = "line" if dimensions == 2 else "plane"
        raise MalformedQuantity(f"points lie on one {flat}", where="points")
    return (array - origin) / scale, origin, scale
