"""How a quantity follows from what was measured: radius of gyration, diameter, position of the centre of gravity.

The models and what goes into them are this project's own; the physics is that of any textbook.
Each takes and gives ``Estimate``, so an input that is used twice (the empty pendulum's period, a mass) is counted once,
and two results of one set-up are known to share it.

Units: an inertia is in the mass's unit times the square of the length's, written ``lb.in2``; a moment is ``oz.in``.
Nothing here judges, and no model corrects for buoyancy, air drag or temperature.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from ledger.conformity.estimate import Estimate, check_above_zero, difference
from ledger.errors import MalformedQuantity

ImbalanceDefinition = Literal["moment", "at_arm", "two_position_difference", "hemisphere_difference"]


@dataclass(frozen=True, slots=True, eq=False)
class TorsionSetUp:
    """A torsion pendulum as it was set up: a reference body of known inertia, its period, and the empty period, in s.

    Raises MalformedQuantity when an inertia or period is not positive, or the reference does not slow the pendulum.
    """

    reference_inertia: Estimate
    reference_period: Estimate
    empty_period: Estimate

    def __post_init__(self) -> None:
        """Refuse a set-up that no pendulum can have."""
        check_above_zero(self.reference_inertia)
        _check_slower(self.reference_period, self.empty_period)

    def inertia(self, period: Estimate) -> Estimate:
        """The inertia of a body about the axis: I = k (T^2 - T0^2), with k = Iref / (Tr^2 - T0^2).

        Raises MalformedQuantity when the period is not above the empty one.
        """
        _check_slower(period, self.empty_period)
        empty = self.empty_period.number**2
        k = self.reference_inertia.number / (self.reference_period.number**2 - empty)
        return Estimate("inertia", self.reference_inertia.unit, k * (period.number**2 - empty))


def radius_of_gyration(set_up: TorsionSetUp, period: Estimate, mass: Estimate, length: str = "in") -> Estimate:
    """RG = sqrt(I / m), in ``length``; ``period`` in s, ``mass`` in the unit of the set-up's inertia.

    Raises MalformedQuantity for a mass that is not positive, a period not above the empty one, or units that do not fit.
    """
    check_above_zero(mass)
    _check_unit(set_up.reference_inertia, f"{mass.unit}.{length}2")
    return Estimate("radius of gyration", length, (set_up.inertia(period).number / mass.number) ** 0.5)


def differential(high: Estimate, low: Estimate) -> Estimate:
    """High radius of gyration less low; made from one set-up and one mass, both are counted once in it.

    That is the point of one session: the reference, the empty period and the mass nearly cancel.
    """
    return difference(high, low, "differential of radius of gyration")


def diameter_from_circumference(circumference: Estimate) -> Estimate:
    """The diameter of a round section: d = c / pi, and so u_d = u_c / pi (GUM 5.1.2).

    A circumference that was measured is judged as one: the printed limits of the two are not exact equivalents.
    """
    check_above_zero(circumference)
    return Estimate("diameter from circumference", circumference.unit, circumference.number / math.pi)


def static_imbalance(mass: Estimate, offset: Estimate, definition: ImbalanceDefinition, arm: Estimate) -> Estimate:
    """What a balance of that definition shows for a centre of gravity ``offset`` from the ball's centre.

    ======================= ========================================== ==============================
    definition              what is stated                             of mass m, offset d, arm L or R
    ======================= ========================================== ==============================
    moment                  the static moment                          m d; the arm is not used
    at_arm                  the weight at the arm L that balances it   m d / L
    two_position_difference between two readings, the ball turned over 2 m d / L
    hemisphere_difference   mass of one half less the other's          8 m d / (3 R), R the radius
    ======================= ========================================== ==============================

    For 240 oz and 0.050 in they give 12.0 oz.in, 2.82, 5.65 (L = 4.25 in) and 7.49 oz (R = 4.27375 in).  A limit in
    ounces says nothing until its definition is known.  The last holds where the excess is spread over the halves as a
    homogeneous half's mass is, about 3R/8 from the plane: from memory.
    Raises MalformedQuantity for a mass or arm that is not positive, or an offset and arm in different units.
    """
    check_above_zero(mass)
    moment = mass.number * offset.number
    if definition == "moment":
        return Estimate("static moment", f"{mass.unit}.{offset.unit}", moment)
    _check_arm(arm, offset.unit)
    name = f"static imbalance, {definition}, arm {arm.value:g} {arm.unit}"
    return Estimate(name, mass.unit, moment * _per_moment(definition, arm))


def offset_from_imbalance(
    imbalance: Estimate, mass: Estimate, definition: ImbalanceDefinition, arm: Estimate
) -> Estimate:
    """The distance of the centre of gravity from the ball's centre along the axis measured; the way back.

    ``imbalance``: in the mass's unit, or for a ``moment`` in that times the arm's.  The result is in the arm's unit.
    Raises MalformedQuantity as ``static_imbalance`` does.
    """
    check_above_zero(mass)
    _check_arm(arm, arm.unit)
    if definition == "moment":
        _check_unit(imbalance, f"{mass.unit}.{arm.unit}")
        return Estimate("CG offset", arm.unit, imbalance.number / mass.number)
    weight = imbalance.in_unit(mass.unit).number
    return Estimate("CG offset", arm.unit, weight / _per_moment(definition, arm) / mass.number)


def distance_from_centre(offsets: Sequence[Estimate]) -> Estimate:
    """The length of the offset whose parts along perpendicular axes are given, in the first one's unit.

    Raises MalformedQuantity for no parts, and for parts that are all zero: there its derivative does not exist.
    """
    if not offsets or all(part.value == 0 for part in offsets):
        raise MalformedQuantity(
            "offset has no direction", expected="at least one part that is not zero", where="offset"
        )
    unit = offsets[0].unit
    squares = [part.in_unit(unit).number ** 2 for part in offsets]
    return Estimate("distance of the CG from the centre", unit, sum(squares[1:], start=squares[0]) ** 0.5)


def _per_moment(definition: ImbalanceDefinition, arm: Estimate) -> object:
    factors = {"at_arm": 1.0, "two_position_difference": 2.0, "hemisphere_difference": 8 / 3}
    if definition not in factors:
        raise MalformedQuantity(
            "definition of static imbalance is unknown", expected=" or ".join(factors), got=definition
        )
    return factors[definition] / arm.number


def _check_arm(arm: Estimate, unit: str) -> None:
    check_above_zero(arm)
    _check_unit(arm, unit)


def _check_unit(amount: Estimate, unit: str) -> None:
    if amount.unit != unit:
        raise MalformedQuantity(f"{amount.name} has another unit", expected=unit, got=amount.unit, where="unit")


def _check_slower(period: Estimate, empty: Estimate) -> None:
    check_above_zero(empty)
    if period.unit != empty.unit:
        raise MalformedQuantity("periods have different units", expected=empty.unit, got=period.unit, where="unit")
    if period.value <= empty.value:
        raise MalformedQuantity(
            "period is not above that of the empty pendulum",
            expected=f"more than {empty.value:g} {empty.unit}",
            got=f"{period.value:g} {period.unit}",
            where="period",
        )
