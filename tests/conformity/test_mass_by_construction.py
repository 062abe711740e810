"""A mass from the sizes stated and the densities of one combination of lots."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from ledger.conformity.estimate import Estimate
from ledger.conformity.mass_by_construction import (
    block_density_of,
    densities_needed,
    density_estimate,
    envelope_of,
    mass_of,
)
from ledger.conformity.mass_model import predicted_mass
from ledger.errors import MalformedQuantity
from ledger.line.construction import Construction
from ledger.tracing.makings import Block, Colour, Core, Making

SIZES = Construction(
    unit="mm",
    diameter="216",
    diameter_expanded="0.1",
    shell_thickness="19",
    shell_thickness_expanded="0.2",
    block_volume_cm3="900",
    block_volume_expanded_cm3="3",
)
CORE = Core("C1", "MC", Block("B1", "MB"))


def known(**densities: float) -> dict[str, Estimate]:
    """Densities of lots, each with u = 0.002."""
    return {lot: density_estimate(lot, value, 0.002, "stated") for lot, value in densities.items()}


def making(*colours: tuple[str, int]) -> Making:
    """The one core in a shell of these colours."""
    return Making(CORE, tuple(Colour(*colour) for colour in colours))


def test_sizes_come_with_half_of_their_expanded_uncertainty() -> None:
    """U is stated with k = 2."""
    envelope = envelope_of(SIZES)
    assert (216, 0.05, 19, 0.1, 900, 1.5) == pytest.approx((
        envelope.diameter.value, envelope.diameter.u, envelope.shell_thickness.value, envelope.shell_thickness.u,
        envelope.block_volume.value, envelope.block_volume.u,
    ))  # fmt: skip


def test_one_colour_is_the_model_of_three_parts() -> None:
    """Shell, core and block as the mass model takes them."""
    envelope, densities = envelope_of(SIZES), known(MB=2.1, MC=1.05, RED=1.18)
    plain = predicted_mass(envelope, shell=densities["RED"], core=densities["MC"], block=densities["MB"])
    found = mass_of(envelope, making(("RED", 10)), densities)
    assert (plain.total.value, plain.total.u) == pytest.approx((found.total.value, found.total.u))


def test_a_block_that_was_read_goes_before_its_batch() -> None:
    """Its own density counts where there is one."""
    assert "MB" == block_density_of(making(), known(MB=2.1))
    assert "B1" == block_density_of(making(), known(MB=2.1, B1=2.2))


def test_one_batch_in_two_parts_is_one_doubt() -> None:
    """Core and shell of one batch are not independent: the uncertainty is larger than of two batches of equal density."""
    envelope = envelope_of(SIZES)
    one = Making(Core("C1", "MC", Block("B1", "MB")), (Colour("MC", 1),))
    apart = mass_of(envelope, making(("RED", 1)), known(MB=2.1, MC=1.1, RED=1.1))
    together = mass_of(envelope, one, known(MB=2.1, MC=1.1))
    assert apart.total.value == pytest.approx(together.total.value)
    assert apart.total.u < together.total.u


@given(st.integers(1, 10**6), st.integers(0, 10**6), st.floats(0.9, 1.5), st.floats(0.9, 1.5))
def test_colours_count_by_their_mass(red: int, blue: int, first: float, second: float) -> None:
    """The shell weighs what its volume does at the harmonic mean of its colours, and the order of colours is nothing."""
    envelope, densities = envelope_of(SIZES), known(MB=2.1, MC=1.05, RED=first, BLUE=second)
    found = mass_of(envelope, making(("RED", red), ("BLUE", blue)), densities)
    mixture = (red + blue) / (red / first + blue / second)
    assert found.shell.value == pytest.approx(envelope.shell_volume.value * mixture)
    other = mass_of(envelope, making(("BLUE", blue), ("RED", red)), densities)
    assert math.isclose(found.total.u, other.total.u)


def test_the_densities_of_core_and_colours_are_needed() -> None:
    """Each once; the block's is the block's own matter."""
    assert ("MC", "RED") == densities_needed(making(("RED", 1), ("MC", 2), ("RED", 3)))


def test_what_no_ball_has_is_refused() -> None:
    """A thick shell, a large block, colours of no mass."""
    for sizes in (replace(SIZES, shell_thickness="108"), replace(SIZES, block_volume_cm3="3000")):
        with pytest.raises(MalformedQuantity):
            envelope_of(sizes)
    with pytest.raises(MalformedQuantity, match="nothing of any colour"):
        mass_of(envelope_of(SIZES), making(("RED", 0), ("BLUE", 0)), known(MB=2.1, MC=1.05, RED=1.2, BLUE=1.2))
