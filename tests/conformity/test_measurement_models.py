"""ledger.conformity.measurement_models: what is shared cancels, the definitions agree, impossible input is refused."""

from __future__ import annotations

import math
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity import measurement_models as models
from ledger.conformity.estimate import Estimate, estimate
from ledger.errors import MalformedQuantity

PERIODS = st.floats(1.7, 2.2)
DEFINITIONS = st.sampled_from(get_args(models.ImbalanceDefinition))


def second(value: float, u: float = 0.0008, name: str = "period") -> Estimate:
    """A period."""
    return estimate(name, value, u, "s")


def set_up(inertia: float = 101.15, u: float = 0.15, unit: str = "lb.in2") -> models.TorsionSetUp:
    """The pendulum of the reference vector."""
    return models.TorsionSetUp(
        estimate("reference inertia", inertia, u, unit),
        second(2.015, name="reference period"),
        second(0.6, 0.0005, "empty period"),
    )


MASS = estimate("mass", 15.0, 0.01, "lb")


@given(st.floats(50, 200), st.floats(1, 25))
def test_the_reference_body_has_its_own_radius(inertia: float, mass: float) -> None:
    """A ball that swings as the reference does has the reference's inertia."""
    rg = models.radius_of_gyration(set_up(inertia), second(2.015), estimate("mass", mass, 0, "lb"))
    assert rg.value == pytest.approx(math.sqrt(inertia / mass))


@given(PERIODS, st.floats(1e-3, 0.1))
def test_a_slower_swing_is_a_larger_radius(period: float, more: float) -> None:
    """RG grows with the period."""
    radii = [models.radius_of_gyration(set_up(), second(t), MASS).value for t in (period, period + more)]
    assert radii[0] < radii[1]


@given(PERIODS)
def test_the_empty_period_is_counted_once(period: float) -> None:
    """Its part is the derivative by it, taken numerically through both places where it stands."""
    budget = models.radius_of_gyration(set_up(), second(period), MASS).budget()
    [term] = [term for term in budget.terms if term.name == "empty period"]

    def rg(empty: float) -> float:
        return math.sqrt(101.15 * (period**2 - empty**2) / (2.015**2 - empty**2) / 15.0)

    assert term.sensitivity == pytest.approx((rg(0.6 + 1e-5) - rg(0.6 - 1e-5)) / 2e-5, abs=1e-5)


@given(PERIODS, st.floats(0, 0.05))
def test_a_differential_knows_what_its_radii_share(period: float, more: float) -> None:
    """Reference, empty period and mass nearly cancel: u is below that of two unrelated radii, and above the periods'."""
    shared = set_up()
    low, high = (models.radius_of_gyration(shared, second(t), MASS) for t in (period, period + more))
    alone = [term.contribution for rg in (low, high) for term in rg.budget().terms if term.name == "period"]
    found = models.differential(high, low)
    assert found.value == pytest.approx(high.value - low.value)
    assert math.hypot(*alone) * (1 - 1e-9) <= found.u < math.hypot(high.u, low.u)


def test_two_sessions_share_nothing() -> None:
    """Radii from two set-ups and two weighings are unrelated, and their doubts add up in full."""
    one, two = (
        models.radius_of_gyration(set_up(), second(1.92), estimate("mass", 15.0, 0.01, "lb")) for _session in range(2)
    )
    assert models.differential(one, two).u == pytest.approx(math.sqrt(2) * one.u)


@given(st.floats(20, 30), st.floats(0, 0.1))
def test_a_diameter_is_surer_than_its_circumference(c: float, u: float) -> None:
    """Value and uncertainty are both divided by pi."""
    diameter = models.diameter_from_circumference(estimate("c", c, u, "in"))
    assert [c, u] == pytest.approx([diameter.value * math.pi, diameter.u * math.pi])


@given(DEFINITIONS, st.floats(1, 400), st.floats(-0.5, 0.5), st.floats(1, 6))
def test_imbalance_and_offset_lead_back_to_each_other(
    definition: models.ImbalanceDefinition, mass: float, offset: float, arm: float
) -> None:
    """The offset found from the imbalance is the one that it was made from, without new doubt."""
    weight, length = estimate("mass", mass, 0.1, "oz"), estimate("arm", arm, 0.01, "in")
    start = estimate("offset", offset, 0.001, "in")
    shown = models.static_imbalance(weight, start, definition, length)
    back = models.offset_from_imbalance(shown, weight, definition, length)
    assert back.unit == "in"
    assert [back.value, back.u] == pytest.approx([offset, 0.001])


def test_an_imbalance_names_its_definition_and_arm() -> None:
    """A figure in ounces says which ounces."""
    shown = models.static_imbalance(
        estimate("mass", 240, 0, "oz"), estimate("offset", 0.05, 0, "in"), "at_arm", estimate("arm", 4.25, 0, "in")
    )
    assert "static imbalance, at_arm, arm 4.25 in" == shown.name


@given(st.lists(st.floats(0.001, 1), min_size=3, max_size=3))
def test_the_distance_is_between_its_largest_part_and_their_sum(parts: list[float]) -> None:
    """A length in space."""
    found = models.distance_from_centre([estimate("part", part, 0.001, "in") for part in parts])
    assert max(parts) <= found.value * (1 + 1e-12)
    assert found.value <= sum(parts) * (1 + 1e-12)
    assert found.u == pytest.approx(0.001)


@pytest.mark.parametrize("period", [0.6, 0.5, 0.0, -2.0])
def test_a_period_that_is_not_above_the_empty_one_is_refused(period: float) -> None:
    """T <= T0 leaves no inertia."""
    with pytest.raises(MalformedQuantity, match="not above that of the empty pendulum"):
        models.radius_of_gyration(set_up(), second(period), MASS)


@pytest.mark.parametrize(("reference", "empty"), [(0.6, 0.6), (0.5, 0.6), (2.0, 0.0), (2.0, -0.1)])
def test_a_pendulum_that_cannot_be_is_refused(reference: float, empty: float) -> None:
    """The reference slows the pendulum, and the empty one swings."""
    with pytest.raises(MalformedQuantity, match="period"):
        models.TorsionSetUp(estimate("reference inertia", 101, 0.1, "lb.in2"), second(reference), second(empty))


@pytest.mark.parametrize("mass", [0.0, -15.0])
def test_a_mass_that_is_not_positive_is_refused(mass: float) -> None:
    """No body weighs nothing."""
    weight = estimate("mass", mass, 0.01, "lb")
    with pytest.raises(MalformedQuantity, match="mass is impossible"):
        models.radius_of_gyration(set_up(), second(1.9), weight)
    arm = estimate("arm", 4.25, 0.01, "in")
    with pytest.raises(MalformedQuantity, match="mass is impossible"):
        models.static_imbalance(weight, estimate("offset", 0.05, 0, "in"), "at_arm", arm)
    with pytest.raises(MalformedQuantity, match="mass is impossible"):
        models.offset_from_imbalance(estimate("imbalance", 1, 0, "lb"), weight, "at_arm", arm)


def test_units_that_do_not_fit_are_refused() -> None:
    """A mass in ounces under an inertia in pounds would give a radius that is four times too small."""
    with pytest.raises(MalformedQuantity, match="another unit"):
        models.radius_of_gyration(set_up(), second(1.9), estimate("mass", 240, 0.1, "oz"))
    with pytest.raises(MalformedQuantity, match="different units"):
        models.radius_of_gyration(set_up(), estimate("period", 1900, 1, "ms"), MASS)
    with pytest.raises(MalformedQuantity, match="another unit"):
        models.static_imbalance(MASS, estimate("offset", 1.27, 0, "mm"), "at_arm", estimate("arm", 4.25, 0, "in"))


@pytest.mark.parametrize("arm", [0.0, -4.25])
def test_an_arm_that_is_not_positive_is_refused(arm: float) -> None:
    """Without an arm there is no weight on it."""
    with pytest.raises(MalformedQuantity, match="arm is impossible"):
        models.static_imbalance(MASS, estimate("offset", 0.05, 0, "in"), "at_arm", estimate("arm", arm, 0, "in"))


def test_an_offset_without_direction_and_an_unknown_definition_are_refused() -> None:
    """The derivative of a length is not defined at zero, and ounces of no definition say nothing."""
    nothing = estimate("part", 0.0, 0.001, "in")
    with pytest.raises(MalformedQuantity, match="no direction"):
        models.distance_from_centre([nothing, nothing])
    with pytest.raises(MalformedQuantity, match="no direction"):
        models.distance_from_centre([])
    with pytest.raises(MalformedQuantity, match="definition of static imbalance is unknown"):
        models.static_imbalance(MASS, nothing, "ounces", estimate("arm", 4.25, 0, "in"))  # type: ignore[arg-type]
