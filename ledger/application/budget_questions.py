"""What a measurement model is asked with: amounts with their uncertainty, as decimal text, checked before any model runs.

An amount states its uncertainty in one of two ways: ``u``, a standard uncertainty, or ``expanded`` with ``k`` (2 where it
is not stated), as on a certificate.  "0" says that it is exact; leaving both out is refused, since nothing measured is.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.conformity.estimate import Estimate, estimate
from ledger.conformity.measurement_models import ImbalanceDefinition
from ledger.errors import MalformedQuantity
from ledger.line.record import DecimalText, Slug

Origin = Annotated[str, Meta(max_length=200, description="in words, where a figure comes from")]
MassUnit = Literal["lb", "kg", "g", "oz"]
LengthUnit = Literal["in", "mm"]

_LARGEST_K = 10
"""Common practice, no source: catches a typing error. The book takes none above it either."""


class _Body(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A body, or a part of one, read strictly."""


class Amount(_Body, frozen=True, kw_only=True):
    """A value with ``u``, or with ``expanded`` and ``k``; ``dof``: degrees of freedom, infinite where they are not stated.

    ``kind``: A from a series of readings, B from anything else (GUM 4.2, 4.3).
    """

    value: DecimalText
    u: DecimalText | UnsetType = UNSET
    expanded: DecimalText | UnsetType = UNSET
    k: DecimalText | UnsetType = UNSET
    dof: DecimalText | UnsetType = UNSET
    kind: Literal["A", "B"] = "B"
    how: Origin = ""


class CalibrationStated(_Body, frozen=True, kw_only=True):
    """What a certificate states, in the unit of the readings; ``k`` is 2 where it is not stated."""

    expanded: DecimalText
    k: DecimalText | UnsetType = UNSET
    dof: DecimalText | UnsetType = UNSET
    how: Origin = "certificate"


class RepeatabilityStated(_Body, frozen=True, kw_only=True):
    """Standard deviation ``s`` of one reading, and its degrees of freedom, such as those of a gauge study."""

    s: DecimalText
    dof: DecimalText
    how: Origin = "gauge study"


class MeanAsked(_Body, frozen=True, kw_only=True):
    """Readings of one thing by one gauge. ``resolution``: one step of its display.

    Without ``repeatability`` the scatter is that of the readings themselves, and two or more are needed.
    """

    quantity: Slug
    unit: Annotated[str, Meta(min_length=1, max_length=12)]
    values: Annotated[tuple[DecimalText, ...], Meta(min_length=1, max_length=50)]
    calibration: CalibrationStated
    resolution: DecimalText
    repeatability: RepeatabilityStated | UnsetType = UNSET


class Pendulum(_Body, frozen=True, kw_only=True):
    """A torsion pendulum as set up for one session, and the ball's mass; periods in seconds.

    ``reference_inertia`` is in the mass's unit times the square of the length's, such as lb.in2.
    """

    mass_unit: MassUnit
    length_unit: LengthUnit
    reference_inertia: Amount
    reference_period: Amount
    empty_period: Amount
    mass: Amount


class RadiusAsked(Pendulum, frozen=True, kw_only=True):
    """The period about one axis; ``quantity`` says which radius it is."""

    quantity: Literal["rg_low", "rg_mid", "rg_high"]
    period: Amount


class DifferentialAsked(Pendulum, frozen=True, kw_only=True):
    """The periods about two axes of one session: the higher radius's and the lower one's."""

    high_period: Amount
    low_period: Amount
    quantity: Literal["differential", "mid_differential"] = "differential"


class DiameterAsked(_Body, frozen=True, kw_only=True):
    """A circumference as it was measured."""

    length_unit: LengthUnit
    circumference: Amount


class ImbalanceAsked(_Body, frozen=True, kw_only=True):
    """A ball's mass, the distance of its centre of gravity from its centre, and what the balance's figure means.

    ``arm``: the lever arm, or for ``hemisphere_difference`` the ball's radius; asked for in every case, so that the
    answer can be told from that of another definition.
    """

    definition: ImbalanceDefinition
    mass_unit: MassUnit
    length_unit: LengthUnit
    mass: Amount
    offset: Amount
    arm: Amount


class MixturePart(_Body, frozen=True, kw_only=True):
    """A part of a mixture: its fraction of the whole, 0 to 1, and its density in g/mL."""

    name: Annotated[str, Meta(min_length=1, max_length=40)]
    fraction: DecimalText
    density: Amount


class DensityAsked(_Body, frozen=True, kw_only=True):
    """A recipe, its fractions ``by`` mass or by volume."""

    by: Literal["mass", "volume"]
    parts: Annotated[tuple[MixturePart, ...], Meta(min_length=1, max_length=20)]


def number_of(text: str, where: str, *, zero_allowed: bool = True) -> float:
    """A figure that is not negative. Raises MalformedQuantity naming the field."""
    value = float(text)
    if value < 0 or (value == 0 and not zero_allowed):
        wanted = "0 or more" if zero_allowed else "more than 0"
        raise MalformedQuantity(
            "figure is impossible", expected=wanted, got=text, where=where, mend=f"send a figure of {wanted}"
        )
    return value


def dof_of(text: str | UnsetType, where: str) -> float:
    """Degrees of freedom, infinite where they are not stated. Raises MalformedQuantity below 1."""
    if text is UNSET:
        return math.inf
    value = float(text)
    if value < 1:
        raise MalformedQuantity(
            "degrees of freedom are too few",
            expected="1 or more",
            got=text,
            where=where,
            mend="send one less than the number of readings, or leave it out where there is no doubt about u",
        )
    return value


def k_of(text: str | UnsetType, where: str) -> float:
    """A coverage factor, 2 where it is not stated. Raises MalformedQuantity outside 1 to 10."""
    value = 2.0 if text is UNSET else float(text)
    if not 1 <= value <= _LARGEST_K:
        raise MalformedQuantity(
            "the coverage factor is out of range",
            expected=f"1 to {_LARGEST_K}",
            got=text,
            where=where,
            mend="send the k that the certificate states, usually 2",
        )
    return value


def amount_of(asked: Amount, where: str, unit: str, *, name: str = "", zero_allowed: bool = False) -> Estimate:
    """An amount as a model takes it; ``where`` is its field, ``name`` its name in the budget, else the field's.

    Raises MalformedQuantity, naming the field and the mend, for a value below zero (or zero, where that is not allowed),
    for no uncertainty or two, and for a k or degrees of freedom that are none.
    """
    value = number_of(asked.value, f"{where}.value", zero_allowed=zero_allowed)
    return estimate(
        name or where.replace("_", " "),
        value,
        _standard(asked, where),
        unit,
        kind=asked.kind,
        dof=dof_of(asked.dof, f"{where}.dof"),
        how=asked.how,
    )


def _standard(asked: Amount, where: str) -> float:
    if (asked.u is UNSET) == (asked.expanded is UNSET):
        raise MalformedQuantity(
            "uncertainty is missing" if asked.u is UNSET else "uncertainty is stated twice",
            expected="u, or expanded with its k",
            where=where,
            mend='send one of them; "u": "0" where the value is exact by definition',
        )
    if asked.u is not UNSET:
        if asked.k is not UNSET:
            raise MalformedQuantity(
                "k belongs to an expanded uncertainty",
                expected="expanded with k, or u alone",
                where=f"{where}.k",
                mend="leave k out, or send U as expanded",
            )
        return number_of(asked.u, f"{where}.u")
    expanded = number_of(str(asked.expanded), f"{where}.expanded")
    return expanded / k_of(asked.k, f"{where}.k")


@contextmanager
def mended(where: str, mend: str) -> Iterator[None]:
    """Raises what a model raises, naming the field of the body (its own where empty) and what would put it right."""
    try:
        yield
    except MalformedQuantity as error:
        raise MalformedQuantity(
            error.problem, expected=error.expected, got=error.got, where=where or error.where, mend=error.mend or mend
        ) from error
