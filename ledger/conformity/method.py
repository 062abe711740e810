"""Whether a reading was taken as a requirement's method asks, and of the thing that the requirement means.

What is known to be otherwise blocks a decision; what is not on record is only said.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from ledger.conformity.facts import Measured
from ledger.conformity.requirement import Method, Requirement
from ledger.line.quantity import QUANTITIES

UNSTATED = "unstated"
"""The definition of a requirement whose text does not say which thing of that name it means."""

_BALANCE = ("oz", "g")


class Conditions(NamedTuple):
    """Sentences: ``otherwise`` blocks a decision, ``unknown`` does not."""

    otherwise: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()


_MET = Conditions()
_NO_METHOD = Method()


def conditions_of(requirement: Requirement, measured: Measured) -> Conditions:
    """How a reading stands to the method and the definition that a requirement asks for."""
    method = requirement.method
    if method == _NO_METHOD and not requirement.definition:
        return _MET
    otherwise: list[str] = []
    unknown: list[str] = []
    _definition(requirement, measured, otherwise)
    _temperature(method, measured, otherwise, unknown)
    _delay(method, measured, otherwise, unknown)
    _count(method, measured, otherwise)
    _surface(method, measured, otherwise, unknown)
    _spacing(method, measured, otherwise, unknown)
    return Conditions(tuple(otherwise), tuple(unknown))


def other_definition(requirement: Requirement, measured: Measured) -> str:
    """Why a reading is of another thing than the limit means, or nothing."""
    meant, taken = requirement.definition, measured.definition
    if not meant or meant == UNSTATED or not taken or taken == meant:
        return ""
    return (
        f"the reading is {QUANTITIES[requirement.quantity].name} as {_words(taken)}, the limit means {_words(meant)}, "
        "and one is not worked out of the other"
    )


def _definition(requirement: Requirement, measured: Measured, otherwise: list[str]) -> None:
    name = QUANTITIES[requirement.quantity].name
    if requirement.definition == UNSTATED:
        reason = f"the limit cannot be applied until the governing text says which definition of {name} is meant"
        if requirement.unit in _BALANCE and requirement.quantity != "mass":
            # Moment over an arm of 4.25 in, difference of two positions, difference of two halves (8md/3R, R = 4.27375 in).
            reason += ": an offset of 0.050 in on a ball of 240 oz reads 2.82, 5.65 or 7.49 oz by three of them"
        otherwise.append(reason)
    elif requirement.definition and not measured.definition:
        otherwise.append(
            f"the limit means {name} as {_words(requirement.definition)}, and the reading does not say which"
        )


def _temperature(method: Method, measured: Measured, otherwise: list[str], unknown: list[str]) -> None:
    if method.temperature_c is None:
        return
    low, high = method.temperature_c
    asked = f"{low} to {high} deg C"
    if measured.temperature_c is None:
        unknown.append(f"the method asks for {asked}, and the temperature is not on record")
    elif not Fraction(low) <= Fraction(measured.temperature_c) <= Fraction(high):
        otherwise.append(f"not taken as the method asks: at {measured.temperature_c} deg C, not at {asked}")


def _delay(method: Method, measured: Measured, otherwise: list[str], unknown: list[str]) -> None:
    if method.delay_s is None:
        return
    if measured.delay_s is None:
        unknown.append(f"the method asks for a reading within {method.delay_s} s, and the delay is not on record")
    elif Fraction(measured.delay_s) > Fraction(method.delay_s):
        otherwise.append(
            f"not taken as the method asks: read after {measured.delay_s} s, not within {method.delay_s} s"
        )


def _count(method: Method, measured: Measured, otherwise: list[str]) -> None:
    if method.readings is not None and measured.readings < method.readings:
        taken = f"{measured.readings} reading{'s' if measured.readings > 1 else ''}"
        otherwise.append(f"not taken as the method asks: {taken}, not {method.readings} or more")
    if method.statistic not in (None, measured.statistic) and measured.readings > 1:
        otherwise.append(f"not taken as the method asks: the {measured.statistic} stands, not the {method.statistic}")


def _spacing(method: Method, measured: Measured, otherwise: list[str], unknown: list[str]) -> None:
    if method.spacing_mm is None or measured.readings < 2:
        return
    asked = f"{method.spacing_mm} mm apart or more"
    if measured.spacing_mm is None:
        unknown.append(f"the method asks for readings {asked}, and their spacing is not on record")
    elif Fraction(measured.spacing_mm) < Fraction(method.spacing_mm):
        otherwise.append(f"not taken as the method asks: readings {measured.spacing_mm} mm apart, not {asked}")


def _surface(method: Method, measured: Measured, otherwise: list[str], unknown: list[str]) -> None:
    if not method.surface:
        return
    if not measured.surface:
        unknown.append(f"the method asks for a surface that is {method.surface}, and its state is not on record")
    elif _slug(measured.surface) != _slug(method.surface):
        otherwise.append(f"not taken as the method asks: the surface was {measured.surface}, not {method.surface}")


def _slug(text: str) -> str:
    return "-".join(text.casefold().replace("-", " ").replace("_", " ").split())


def _words(slug: str) -> str:
    return slug.replace("_", " ").replace("-", " ")
