"""A reading as a person types it, or as a gauge's line arrives through the keyboard: a number and, often, its unit.

The form it reads, for each value::

    [word] number [word]            15.05 lb     HD 74.5     +0.0021 in     15 lb 3 oz

``number``: digits with at most one point, a sign before it, zeros in front (a gauge's display) and spaces after the sign
allowed.  A ``word`` is the name of a unit as gauges and people write it (`_WORDS`), before the number or after it, not
both, and must be the unit that the gauge shows: no reading is converted, but pounds and ounces, which together are pounds.
A number by itself is in the gauge's unit; a **weight** must name its unit, since 15-3, 15.3 and 15 are read in more than
one way (`ledger.line.quantity.parse_weight`).  A single comma is the decimal sign, as in all fields of the stations
(`typed`); beside a point it is refused.
Several values of one quantity stand apart by semicolons or line ends.

``_WORDS`` is common practice, no source; ``HD`` for Shore D as hardness gauges show it is from memory.
"""

from __future__ import annotations

import re
from fractions import Fraction

from ledger.errors import MalformedQuantity
from ledger.line.quantity import UNITS, find_unit, format_number, parse_weight

LONGEST = 40
"""Characters of one value."""

MOST_VALUES = 50

_WORDS: dict[str, str] = {
    "lb": "lb", "lbs": "lb", "kg": "kg", "g": "g", "oz": "oz",
    "mm": "mm", "in": "in", "inch": "in", '"': "in", "um": "um", "µm": "um", "μm": "um",
    "uin": "uin", "µin": "uin", "μin": "uin", "uinch": "uin",
    "hd": "shore_d", "shd": "shore_d", "shore d": "shore_d", "shore-d": "shore_d", "shore_d": "shore_d",
    "s": "s", "sec": "s", "min": "min", "g/ml": "g_ml", "g_ml": "g_ml",
}  # fmt: skip

_VALUE = re.compile(r"(?P<before>[^\d+\-.]*?)\s*(?P<sign>[+-]?)\s*(?P<number>\d+(?:\.\d+)?)\s*(?P<after>[^\d]*)")
_NUMBER = re.compile(r"(?P<sign>[+-]?)(?P<number>\d{1,9}(?:\.\d{1,9})?)", re.ASCII)
_BOTH = re.compile(r"\d{1,2} ?lbs? +\d{1,2}(?:\.\d+)? ?oz", re.IGNORECASE)


def typed_values(text: str, *, quantity: str, unit: str, where: str) -> tuple[str, ...]:
    """The values of one field, as decimal text in the gauge's ``unit``; none for an empty field.

    Raises MalformedQuantity in words for what cannot be read, or can be read in two ways.
    """
    typed = [value for value in (part.strip() for part in re.split(r"[;\r\n]", text)) if value]
    if len(typed) > MOST_VALUES:
        raise MalformedQuantity("readings are too many", expected=f"at most {MOST_VALUES}", got=len(typed), where=where)
    return tuple(_value(value, quantity, unit, where) for value in typed)


def typed_number(text: str, *, where: str) -> str:
    """A number by itself, with a sign or without, as decimal text; empty for nothing. Raises MalformedQuantity."""
    found = _NUMBER.fullmatch(text.strip().replace(",", "."))
    if found is None and text.strip():
        raise MalformedQuantity("a number is needed here", expected="a number as 21.5", got=text[:LONGEST], where=where)
    return "" if found is None else _plain(found["sign"], found["number"])


def _value(text: str, quantity: str, unit: str, where: str) -> str:
    if len(text) > LONGEST:
        raise MalformedQuantity("reading is too long", expected=f"at most {LONGEST} characters", where=where)
    if "," in text and ("." in text or text.count(",") > 1):
        raise MalformedQuantity(
            "reading has two decimal signs", expected="one point or one comma", got=text, where=where
        )
    text = text.replace(",", ".")
    if quantity == "mass":
        return _weight(text, unit, where)
    found = _VALUE.fullmatch(text)
    if found is None:
        raise MalformedQuantity(
            "reading is no number with a unit", expected=f"such as 12.5 {UNITS[unit].printed}", got=text, where=where
        )
    words = [word for word in (found["before"], found["after"]) if word.strip()]
    if len(words) > 1:
        raise MalformedQuantity(
            "reading has words on both sides of its number", got=text, where=where, mend="type the number and its unit"
        )
    if words:
        _check_word(words[0], unit, text, where)
    return _plain(found["sign"], found["number"])


def _check_word(word: str, unit: str, text: str, where: str) -> None:
    named = _WORDS.get(" ".join(word.casefold().split()))
    if named is None:
        raise MalformedQuantity(
            "reading names a unit that is not known", expected=UNITS[unit].printed, got=text, where=where
        )
    if named != unit:
        raise MalformedQuantity(
            "reading is in another unit than its gauge shows",
            expected=UNITS[unit].printed,
            got=UNITS[named].printed,
            where=where,
            mend="choose the gauge that took the reading; no reading is converted",
        )


def _weight(text: str, unit: str, where: str) -> str:
    """A weight in an explicit form; pounds and ounces become pounds."""
    form = " ".join(text.split())
    if _BOTH.fullmatch(form):
        form = re.sub(r"(?i)(\d) ?lbs?", r"\1 lb", form)
        form = re.sub(r"(?i)(\d) ?oz", r"\1 oz", form)
    else:
        one = _VALUE.fullmatch(form)
        if one is not None and one["sign"] != "-" and (one["after"].strip() or one["before"].strip()):
            word = (one["after"].strip() or one["before"].strip()).casefold()
            if one["after"].strip() and one["before"].strip():
                word = ""
            form = f"{_plain('', one['number'])} {_WORDS.get(word, word)}"
    try:
        value, named = parse_weight(form)
    except MalformedQuantity as error:
        raise MalformedQuantity(
            error.problem, expected=error.expected, got=text, where=where, mend=error.mend
        ) from error
    if named != unit:
        raise MalformedQuantity(
            "weight is in another unit than its scale shows",
            expected=UNITS[unit].printed,
            got=UNITS[find_unit(named).id].printed,
            where=where,
            mend="choose the scale that took the reading; no reading is converted",
        )
    return format_number(Fraction(value)) if "oz" in form and named == "lb" else form.partition(" ")[0]


def _plain(sign: str, number: str) -> str:
    """Decimal text as records have it: no plus, no zeros in front, trailing zeros kept."""
    whole, point, decimals = number.partition(".")
    whole = whole.lstrip("0") or "0"
    zero = not (whole + decimals).strip("0")
    return f"{'-' if sign == '-' and not zero else ''}{whole}{point}{decimals}"
