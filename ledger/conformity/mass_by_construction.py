"""A ball's mass from the sizes that its model's definition states and the densities that the book has of its parts.

The colours of a shell are taken by the kilograms of each that its lot drew: 1/rho = sum(w/rho) over the mass fractions.
What the model leaves out is in `mass_model`.
"""

from __future__ import annotations

from collections.abc import Mapping

from ledger.conformity.estimate import Estimate, estimate
from ledger.conformity.mass_model import DENSITY_UNIT, Envelope, Part, PredictedMass, density_by_mass, predicted_mass
from ledger.errors import MalformedQuantity
from ledger.line.construction import Construction
from ledger.tracing.makings import Making

ASSUMPTIONS = (
    "the ball is a sphere with a shell of even thickness, and every part fills its volume: no void, no shrinkage",
    "nothing is allowed for a pin, marking, finishing below the diameter stated, or work done since",
    "several colours of a shell are taken in the proportion in which its lot drew them",
    "sizes are those stated for the model, not measured on this ball; each is independent of the others",
    "one lot's density is one input wherever it is used, so that its doubt is not counted twice",
)


def envelope_of(construction: Construction) -> Envelope:
    """The sizes with their uncertainties, U halved. Raises MalformedQuantity for sizes that no ball has."""
    unit = construction.unit
    return Envelope(
        diameter=_size("diameter", construction.diameter, construction.diameter_expanded, unit),
        shell_thickness=_size(
            "shell thickness", construction.shell_thickness, construction.shell_thickness_expanded, unit
        ),
        block_volume=_size(
            "volume of the block", construction.block_volume_cm3, construction.block_volume_expanded_cm3, "cm3"
        ),
    )


def density_estimate(lot: str, value: float, u: float, how: str) -> Estimate:
    """The density of a lot in g/mL with its standard uncertainty; one such input a lot."""
    return estimate(f"density of {lot}", value, u, DENSITY_UNIT, how=how)


def mass_of(envelope: Envelope, making: Making, densities: Mapping[str, Estimate]) -> PredictedMass:
    """The mass that one combination of lots gives, from the density of each (`densities_needed`).

    Raises MalformedQuantity for a density that is not positive, and for colours of no mass at all.
    """
    return predicted_mass(
        envelope,
        shell=_mixed(making, densities),
        core=densities[making.core.batch],
        block=densities[block_density_of(making, densities)],
    )


def densities_needed(making: Making) -> tuple[str, ...]:
    """The lots whose densities a combination takes beside the block's."""
    return tuple(dict.fromkeys((making.core.batch, *(colour.lot for colour in making.colours))))


def block_density_of(making: Making, densities: Mapping[str, Estimate]) -> str:
    """The lot that the block's density is taken from: the block lot itself where it was read, else its batch."""
    block = making.core.block
    return block.lot if block.lot in densities else block.batch


def _mixed(making: Making, densities: Mapping[str, Estimate]) -> Estimate:
    grams: dict[str, int] = {}
    for colour in making.colours:
        grams[colour.lot] = grams.get(colour.lot, 0) + colour.grams
    if len(grams) == 1:
        return densities[next(iter(grams))]
    total = sum(grams.values())
    if not total:
        raise MalformedQuantity("nothing of any colour was drawn for the shell", where="colours")
    return density_by_mass([Part(lot, amount / total, densities[lot]) for lot, amount in grams.items()])


def _size(name: str, value: str, expanded: str, unit: str) -> Estimate:
    return estimate(name, float(value), float(expanded) / 2, unit, how="stated for the model, U (k = 2)")
