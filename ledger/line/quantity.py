"""The quantities that are measured on a ball or a component of it, their units, and exact conversion between them.

A reading is a whole number of millionths of the unit it was measured in (``SCALE``); it is never stored converted.
Factors are exact fractions: lb = 0.45359237 kg, oz = lb/16, in = 25.4 mm, uin = 0.0254 um.
Source: NIST SP 811 (2008), appendix B.8.

The plausible ranges only catch typing errors (a ball of 900 lb); they are common practice, no source, and no limit of
any body.  What a body allows is in ``ledger.conformity``.

Some names have several meanings, told apart by the ``definition`` of a gauge and of a limit: static imbalance in ounces
says nothing without its definition and arm, and out-of-round is a difference of diameters or of radii.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from math import ceil, floor
from typing import Literal

from ledger.book.decimal_text import parse_decimal, scaled
from ledger.errors import MalformedDecimal, MalformedQuantity

SCALE = 1_000_000
"""A stored reading is ``value * SCALE``, a whole number."""

LONGEST_TEXT = 32
"""Characters of a typed value; more is no measurement."""

STATISTICS = ("mean", "median", "range", "single")
"""The figures that may stand for repeated readings."""


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit, how it is printed, and its exact size in the base unit of its dimension."""

    id: str
    printed: str
    dimension: str
    in_base: Fraction


@dataclass(frozen=True, slots=True)
class Quantity:
    """What may be measured: allowed units, the first being the one that ``low`` and ``high`` are stated in.

    ``of``: a component's quantity is read on a lot, never on a ball.
    """

    id: str
    name: str
    units: tuple[str, ...]
    low: Fraction
    high: Fraction
    of: Literal["ball", "component"] = "ball"


_POUND = Fraction("0.45359237")

UNITS: dict[str, Unit] = {
    unit.id: unit
    for unit in (
        Unit("kg", "kg", "mass", Fraction(1)),
        Unit("g", "g", "mass", Fraction(1, 1000)),
        Unit("lb", "lb", "mass", _POUND),
        Unit("oz", "oz", "mass", _POUND / 16),
        Unit("mm", "mm", "length", Fraction(1)),
        Unit("um", "um", "length", Fraction(1, 1000)),
        Unit("in", "in", "length", Fraction("25.4")),
        Unit("uin", "uin", "length", Fraction("0.0000254")),
        Unit("shore_d", "Shore D", "hardness", Fraction(1)),
        Unit("s", "s", "time", Fraction(1)),
        Unit("min", "min", "time", Fraction(60)),
        Unit("C", "deg C", "temperature", Fraction(1)),
        Unit("g_ml", "g/mL", "density", Fraction(1)),
        Unit("1", "(ratio)", "ratio", Fraction(1)),
    )
}
"""Every unit known, by id."""

_LENGTH = ("in", "mm")
_MASS = ("lb", "kg", "g", "oz")


def _quantity(id: str, name: str, units: tuple[str, ...], low: str, high: str) -> Quantity:
    return Quantity(id, name, units, Fraction(low), Fraction(high))


QUANTITIES: dict[str, Quantity] = {
    quantity.id: quantity
    for quantity in (
        _quantity("mass", "weight", _MASS, "1", "25"),
        _quantity("circumference", "circumference", _LENGTH, "24", "30"),
        _quantity("diameter", "diameter", _LENGTH, "7.5", "9.5"),
        _quantity("out_of_round", "out-of-round", ("in", "mm", "um", "uin"), "0", "0.5"),
        _quantity("hardness", "hardness", ("shore_d",), "0", "100"),
        _quantity("roughness", "roughness Ra", ("uin", "um"), "0", "1000"),
        _quantity("rg_low", "low radius of gyration", _LENGTH, "2", "3.5"),
        _quantity("rg_mid", "intermediate radius of gyration", _LENGTH, "2", "3.5"),
        _quantity("rg_high", "high radius of gyration", _LENGTH, "2", "3.5"),
        _quantity("differential", "differential of radius of gyration", _LENGTH, "0", "0.3"),
        _quantity("mid_differential", "intermediate differential", _LENGTH, "0", "0.3"),
        _quantity("top_weight", "top weight", ("oz", "g"), "-10", "10"),
        _quantity("static_imbalance", "static imbalance", ("oz", "g"), "0", "16"),
        _quantity("pin_to_cg", "pin to CG mark", _LENGTH, "0", "14"),
        _quantity("pin_to_low_axis", "pin to low RG axis", _LENGTH, "0", "14"),
        _quantity("mark_to_high_axis", "spin axis mark to high RG axis", _LENGTH, "0", "14"),
        _quantity("friction", "coefficient of friction", ("1",), "0", "2"),
        _quantity("oil_absorption", "oil absorption time", ("s", "min"), "0", "86400"),
        Quantity("component_density", "density of a component", ("g_ml",), Fraction("0.05"), Fraction(25), "component"),
    )
}
"""Every quantity known, by id."""

OF_COMPONENTS = frozenset(known.id for known in QUANTITIES.values() if known.of == "component")
"""The quantities that no ball has as a whole."""


def find_unit(id: str, where: str = "unit") -> Unit:
    """The unit of that id. Raises MalformedQuantity when there is none."""
    unit = UNITS.get(id)
    if unit is None:
        raise MalformedQuantity("unit is unknown", expected=" or ".join(UNITS), got=id, where=where)
    return unit


def find_quantity(id: str, where: str = "quantity") -> Quantity:
    """The quantity of that id. Raises MalformedQuantity when there is none."""
    quantity = QUANTITIES.get(id)
    if quantity is None:
        raise MalformedQuantity("quantity is unknown", expected=" or ".join(QUANTITIES), got=id, where=where)
    return quantity


def check_unit(quantity: str, unit: str, where: str = "unit") -> None:
    """The quantity is measured in that unit, or MalformedQuantity is raised."""
    allowed = find_quantity(quantity).units
    find_unit(unit, where)
    if unit not in allowed:
        raise MalformedQuantity(f"{quantity} has another unit", expected=" or ".join(allowed), got=unit, where=where)


def convert(value: Fraction, from_unit: str, to_unit: str) -> Fraction:
    """The same amount in another unit, exactly.

    Raises MalformedQuantity when a unit is unknown or measures another dimension.
    """
    source, target = find_unit(from_unit), find_unit(to_unit)
    if source.dimension != target.dimension:
        raise MalformedQuantity(
            "units do not measure the same thing",
            expected=f"a unit of {target.dimension}",
            got=from_unit,
            where="unit",
        )
    return value * source.in_base / target.in_base


def format_number(value: Fraction) -> str:
    """Decimal text without exponent or trailing zeros.

    Exact to 18 decimal places; a longer one is rounded away from zero there, so that its sign never gets lost.
    """
    scaled = abs(value) * 10**18
    whole = -(-scaled.numerator // scaled.denominator)
    text = f"{whole // 10**18}.{whole % 10**18:018d}".rstrip("0").rstrip(".")
    return f"-{text}" if value < 0 else text


def parse_number(text: str, where: str = "value") -> Fraction:
    """The exact value of decimal text. Raises MalformedQuantity for anything else, or more than 32 characters."""
    if len(text) > LONGEST_TEXT:
        raise MalformedQuantity("value is too long", expected=f"at most {LONGEST_TEXT} characters", where=where)
    try:
        return Fraction(parse_decimal(text))
    except MalformedDecimal as error:
        raise MalformedQuantity(
            "value is no decimal", expected="decimal text such as 15.19", got=text, where=where
        ) from error


# Readings of one quantity are few different texts: a gauge has a resolution, and a product is much the same each time.
@lru_cache(maxsize=16_384)
def scaled_reading(text: str, unit: str, quantity: str) -> int:
    """A typed reading as whole millionths of ``unit``.

    Raises MalformedQuantity for an unknown quantity, a unit the quantity is not measured in, a text that is no decimal,
    more than six decimal places, or a value outside the plausible range.
    """
    low, high = _plausible_millionths(quantity, unit)
    try:
        value = scaled(text, 6)
    except MalformedDecimal:
        return _millionths(parse_number(text), text)
    if not low <= value <= high:
        check_plausible(parse_number(text), unit, quantity)
    return value


@cache
def _plausible_millionths(quantity: str, unit: str) -> tuple[int, int]:
    """The plausible range in whole millionths of a unit, inside the exact one: readings are compared as integers."""
    check_unit(quantity, unit)
    known = find_quantity(quantity)
    low, high = (convert(bound, known.units[0], unit) * SCALE for bound in (known.low, known.high))
    return ceil(low), floor(high)


def check_plausible(value: Fraction, unit: str, quantity: str) -> None:
    """The value lies in the quantity's plausible range, or MalformedQuantity is raised."""
    known = find_quantity(quantity)
    stated = known.units[0]
    if not known.low <= convert(value, unit, stated) <= known.high:
        raise MalformedQuantity(
            f"{known.name} is not plausible",
            expected=f"{format_number(known.low)} to {format_number(known.high)} {UNITS[stated].printed}",
            got=f"{format_number(value)} {UNITS[unit].printed}",
            where="value",
            mend="check the value and the unit for a typing error",
        )


def _millionths(value: Fraction, text: str) -> int:
    scaled = value * SCALE
    if scaled.denominator != 1:
        raise MalformedQuantity("value has too many places", expected="at most six", got=text, where="value")
    return scaled.numerator


_AMOUNT = r"((?:0|[1-9][0-9]{0,5})(?:\.[0-9]{1,6})?)"
_POUNDS_OUNCES = re.compile(rf"(0|[1-9][0-9]?) lb {_AMOUNT} oz")
_ONE_UNIT = re.compile(rf"{_AMOUNT} (lb|kg|g|oz)")
_MEND = "write 15 lb 3 oz, 15.19 lb or 6.889 kg"


def parse_weight(text: str) -> tuple[Fraction, str]:
    """A weight in an explicit form, and its unit: "15 lb 3 oz" (in lb), "15.19 lb", "6.889 kg", "6889 g", "243 oz".

    Every other form raises MalformedQuantity with the reason: "15-3" and "15.3" are read both as pounds and ounces and
    as decimal pounds, and "15" is a weight class, a weight in pounds or one in kilograms.
    """
    both = _POUNDS_OUNCES.fullmatch(text)
    if both:
        ounces = Fraction(both[2])
        if ounces >= 16 or (ounces * 100).denominator != 1:
            raise MalformedQuantity(
                "ounces beside pounds are out of form",
                expected="less than 16 oz, at most two decimal places",
                got=text,
                where="weight",
                mend=_MEND,
            )
        return int(both[1]) + ounces / 16, "lb"
    one = _ONE_UNIT.fullmatch(text)
    if one:
        return Fraction(one[1]), one[2]
    raise MalformedQuantity(
        _weight_problem(text), expected="pounds and ounces, or one unit", got=text, where="weight", mend=_MEND
    )


def _weight_problem(text: str) -> str:
    if re.fullmatch(r"[0-9]{1,3}-[0-9]{1,3}", text):
        return "weight can be read two ways, as pounds and ounces or as a decimal"
    if re.fullmatch(r"[0-9]{1,3}\.[0-9]{1,6}", text):
        return "weight names no unit, and its decimals may be meant as ounces"
    if re.fullmatch(r"[0-9]{1,6}", text):
        return "weight names no unit, and may be a weight class"
    return "weight is in no explicit form"


def scaled_weight(text: str) -> tuple[int, str]:
    """A weight in an explicit form as whole millionths of its unit, and the unit.

    Raises MalformedQuantity as ``parse_weight`` does, and for a ball's weight outside the plausible range.
    """
    value, unit = parse_weight(text)
    check_plausible(value, unit, "mass")
    return _millionths(value, text), unit


def statistic(values: Sequence[int], name: str) -> Fraction:
    """One figure for raw repeated readings, exactly, in the unit of the readings.

    ``single`` takes exactly one reading; the median of an even number is the mean of the middle two.
    Raises MalformedQuantity for no readings, for several under ``single``, and for an unknown name.
    """
    if not values:
        raise MalformedQuantity("readings are missing", expected="at least one", got=0, where="readings")
    ordered = sorted(values)
    if name == "mean":
        return Fraction(sum(ordered), len(ordered))
    if name == "median":
        half = len(ordered) // 2
        return Fraction(ordered[half] + ordered[-half - 1], 2)
    if name == "range":
        return Fraction(ordered[-1] - ordered[0])
    if name == "single" and len(ordered) == 1:
        return Fraction(ordered[0])
    if name == "single":
        raise MalformedQuantity("readings are several", expected="one", got=len(ordered), where="readings")
    raise MalformedQuantity("statistic is unknown", expected=" or ".join(STATISTICS), got=name, where="readings")
