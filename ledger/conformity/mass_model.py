"""What a ball should weigh by its recipe, and what it can mean when it does not.

The ball is a sphere; a shell of even thickness lies around a core, and a block lies in the core and takes its place.
The recipe is a model: no void, no cure shrinkage, no pin, no drilled hole, nothing lost at sanding.
Sphere geometry and the rule of mixtures are of any textbook; both laws assume that the parts' volumes add.

Volumes in cm3, densities in g/mL (which is g/cm3), masses in g; lengths in any unit of length.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import msgspec

from ledger.conformity.estimate import Estimate, check_above_zero, difference
from ledger.conformity.uncertainty import LEVEL, Expanded, in_figures
from ledger.errors import MalformedQuantity

FRACTIONS_ADD_TO = 1e-6
"""How far from one the fractions of a mixture may add up: what rounding to six places leaves."""

DENSITY_UNIT = "g_ml"
"""As ``quantity.UNITS`` names it; g/mL and g/cm3 are one unit."""


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A part of a mixture: its fraction of the whole, 0 to 1, by mass or by volume as the function says; its density."""

    name: str
    fraction: float
    density: Estimate


def density_by_mass(parts: Sequence[Part]) -> Estimate:
    """Density of a mixture from mass fractions: 1/rho = sum(w / rho), harmonic.

    Raises MalformedQuantity for fractions outside 0 to 1 or that do not add up to 1, and densities that are not positive.
    """
    _check_parts(parts)
    return Estimate("density of the mixture", DENSITY_UNIT, 1 / _total([p.fraction / p.density.number for p in parts]))


def density_by_volume(parts: Sequence[Part]) -> Estimate:
    """Density of a mixture from volume fractions: rho = sum(phi rho), arithmetic. Raises as ``density_by_mass``."""
    _check_parts(parts)
    return Estimate("density of the mixture", DENSITY_UNIT, _total([p.fraction * p.density.number for p in parts]))


def volume_fractions(parts: Sequence[Part]) -> list[float]:
    """The volume fraction of each part, from mass fractions. Raises as ``density_by_mass``."""
    _check_parts(parts)
    volumes = [part.fraction / part.density.value for part in parts]
    return [volume / math.fsum(volumes) for volume in volumes]


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """The sizes of a ball's parts: outer diameter, thickness of the shell, volume of the block (cm3).

    Raises MalformedQuantity for a size that is not positive, a shell thicker than the radius, or a block that the shell
    leaves no room for.  A ball without a block has one of no volume; without a shell, one of no thickness.
    """

    diameter: Estimate
    shell_thickness: Estimate
    block_volume: Estimate

    def __post_init__(self) -> None:
        """Refuse what does not fit into a sphere."""
        check_above_zero(self.diameter)
        _check_unit(self.block_volume, "cm3")
        for size in (self.shell_thickness, self.block_volume):
            _check_not_negative(size)
        thickness = self.shell_thickness.in_unit(self.diameter.unit).value
        if 2 * thickness >= self.diameter.value:
            raise MalformedQuantity(
                "shell is thicker than the ball's radius",
                got=f"{self.shell_thickness.value:g} {self.shell_thickness.unit}",
            )
        if self.core_volume.value < 0:
            raise MalformedQuantity(
                "block is larger than what the shell leaves", got=f"{self.block_volume.value:g} cm3"
            )

    @property
    def ball_volume(self) -> Estimate:
        """The whole sphere, cm3."""
        return Estimate("volume of the ball", "cm3", _sphere(self._diameter_cm))

    @property
    def shell_volume(self) -> Estimate:
        """The shell, cm3."""
        return Estimate("volume of the shell", "cm3", _sphere(self._diameter_cm) - _sphere(self._inner_cm))

    @property
    def core_volume(self) -> Estimate:
        """The core, cm3: what is inside the shell less the block."""
        return Estimate("volume of the core", "cm3", _sphere(self._inner_cm) - self.block_volume.number)

    @property
    def _diameter_cm(self) -> float:
        return _in_cm(self.diameter)

    @property
    def _inner_cm(self) -> float:
        return self._diameter_cm - 2 * _in_cm(self.shell_thickness)


@dataclass(frozen=True, slots=True, eq=False)
class PredictedMass:
    """What the recipe says that each part and the ball weigh, in g; ``core_density`` in g/mL.

    The parts share the diameter and the thickness, so their uncertainties do not simply add up: take ``total``'s.
    """

    shell: Estimate
    core: Estimate
    block: Estimate
    total: Estimate
    core_density: Estimate


def predicted_mass(envelope: Envelope, *, shell: Estimate, core: Estimate, block: Estimate) -> PredictedMass:
    """The ball's mass from its sizes and the densities (g/mL) of its shell, its core and its block.

    Raises MalformedQuantity for a density that is not positive or in another unit.
    """
    masses = []
    for name, density, volume in (
        ("shell", shell, envelope.shell_volume),
        ("core", core, envelope.core_volume),
        ("block", block, envelope.block_volume),
    ):
        _check_density(density)
        masses.append(Estimate(f"mass of the {name}", "g", volume.number * density.number))
    total = Estimate("predicted mass", "g", _total([mass.number for mass in masses]))
    return PredictedMass(masses[0], masses[1], masses[2], total, core)


def core_density_for(envelope: Envelope, *, wanted: Estimate, shell: Estimate, block: Estimate) -> Estimate:
    """The density of the core, in g/mL, with which the ball weighs ``wanted`` (any unit of mass).

    Raises MalformedQuantity where the shell and the block alone weigh as much, or there is no core.
    """
    check_above_zero(wanted)
    _check_density(shell)
    _check_density(block)
    if envelope.core_volume.value <= 0:
        raise MalformedQuantity("ball has no core", where="block volume")
    fixed = envelope.shell_volume.number * shell.number + envelope.block_volume.number * block.number
    density = Estimate(
        "density of the core", DENSITY_UNIT, (wanted.in_unit("g").number - fixed) / envelope.core_volume.number
    )
    if density.value <= 0:
        raise MalformedQuantity(
            "shell and block alone weigh as much as is wanted", got=f"{wanted.value:g} {wanted.unit}", where="wanted"
        )
    return density


class MassComparison(msgspec.Struct, frozen=True, kw_only=True):
    """Whether a ball weighs what its recipe says.

    ``difference_g``: weighed less predicted; ``expanded_g``: its expanded uncertainty, with factor ``k``; ``agrees`` when
    the first is no greater than the second.  ``void_cm3``: the void in the core that would explain a ball that is too
    light, None where it is not.  ``sentence`` says it in words.
    """

    difference_g: float
    u_g: float
    expanded_g: float
    k: float
    agrees: bool
    void_cm3: float | None
    sentence: str


def compare_mass(predicted: PredictedMass, weighed: Estimate, p: float = LEVEL) -> MassComparison:
    """The weighed mass (any unit) against the predicted one, at coverage ``p``.

    That a void or a wrong block lot shows here, and nowhere else before the ball is drilled, is common practice, no
    source.  Agreement shows neither that there is no void nor that the lot is right: only none that would show.
    """
    check_above_zero(weighed)
    budget = difference(weighed.in_unit("g"), predicted.total).budget()
    gap, expanded = budget.value, budget.expanded(p)
    agrees = abs(gap) <= expanded.U
    return MassComparison(
        difference_g=gap,
        u_g=budget.u,
        expanded_g=expanded.U,
        k=expanded.k,
        agrees=agrees,
        void_cm3=-gap / predicted.core_density.value if gap < 0 and not agrees else None,
        sentence=_sentence(gap, expanded, predicted.core_density.value),
    )


def _sentence(gap: float, expanded: Expanded, core_density: float) -> str:
    doubt = f"{in_figures(expanded.U, 3)} g that both uncertainties allow (k = {expanded.k:.2f})"
    amount = f"{in_figures(abs(gap), 3)} g {'below' if gap < 0 else 'above'} the recipe's"
    if abs(gap) <= expanded.U:
        void = in_figures(expanded.U / core_density, 2)
        return f"the weighed mass is {amount}, within the {doubt}; a void of less than {void} cm3 may not show"
    if gap < 0:
        void = in_figures(-gap / core_density, 3)
        return (
            f"the weighed mass is {amount}, more than the {doubt}: "
            f"it can mean a void of about {void} cm3, a block of a wrong (lighter) lot, or a density in the recipe that is off"
        )
    return (
        f"the weighed mass is {amount}, more than the {doubt}: "
        "it can mean a block of a wrong (heavier) lot or a density in the recipe that is off, and no void explains it"
    )


def _total(numbers: Sequence[float]) -> float:
    return sum(numbers[1:], start=numbers[0])


def _sphere(diameter_cm: float) -> float:
    return math.pi / 6 * diameter_cm**3


def _in_cm(length: Estimate) -> float:
    number: float = length.in_unit("mm").number / 10
    return number


def _check_parts(parts: Sequence[Part]) -> None:
    if not parts:
        raise MalformedQuantity("mixture has no parts", where="parts")
    for part in parts:
        if not 0 <= part.fraction <= 1:
            raise MalformedQuantity("fraction is outside 0 to 1", got=part.fraction, where=part.name)
        _check_density(part.density)
    total = math.fsum(part.fraction for part in parts)
    if abs(total - 1) > FRACTIONS_ADD_TO:
        raise MalformedQuantity("fractions do not add up", expected=1, got=total, where="parts")


def _check_density(density: Estimate) -> None:
    check_above_zero(density)
    _check_unit(density, DENSITY_UNIT)


def _check_not_negative(size: Estimate) -> None:
    if size.value < 0:
        raise MalformedQuantity(f"{size.name} is negative", got=f"{size.value:g} {size.unit}")


def _check_unit(amount: Estimate, unit: str) -> None:
    if amount.unit != unit:
        raise MalformedQuantity(f"{amount.name} has another unit", expected=unit, got=amount.unit, where="unit")
