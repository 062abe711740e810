"""Decimals as the book writes them: text, so that no reader rounds them and no zero is lost.

Form: an optional minus sign, digits without leading zeros, optionally a point and at least one digit.
No exponent, no plus sign, no bare point, no negative zero; at most 64 characters.
Trailing zeros are kept, since they state the resolution that was read: ``15.10`` is not ``15.1``.
"""

from __future__ import annotations

import re
from decimal import Decimal
from functools import lru_cache

from ledger.errors import MalformedDecimal

MAX_DECIMAL_CHARACTERS = 64

_FORM = re.compile(r"(-?)(0|[1-9][0-9]*)(?:\.([0-9]+))?", re.ASCII)
_EXPECTED = "digits with an optional minus sign and point, no exponent, no leading zeros"


def parse_decimal(text: str) -> Decimal:
    """Read a decimal with its trailing zeros; raises MalformedDecimal."""
    _parts(text)
    return Decimal(text)


def format_decimal(value: Decimal) -> str:
    """Write a finite decimal with its trailing zeros; raises MalformedDecimal for NaN, infinities and -0."""
    if not value.is_finite():
        raise MalformedDecimal("decimal is not a finite number", got=str(value))
    # A wide exponent is refused before its zeros are written out.
    exponent = value.as_tuple().exponent
    if not isinstance(exponent, int) or abs(exponent) > MAX_DECIMAL_CHARACTERS:
        raise MalformedDecimal("decimal is too long", expected=f"at most {MAX_DECIMAL_CHARACTERS} characters")
    text = format(value, "f")
    _parts(text)
    return text


# Readings of one quantity are few different texts: a gauge has a resolution, and a product is much the same each time.
@lru_cache(maxsize=16_384)
def scaled(text: str, places: int) -> int:
    """Give the exact integer ``text`` x 10^``places``; raises MalformedDecimal when it has more places.

    ``scaled("15.10", 3)`` is 15100. Digits are never dropped, not even zeros.
    """
    sign, whole, fraction = _parts(text)
    if len(fraction) > places:
        raise MalformedDecimal("decimal has too many places", expected=f"at most {places}", got=text)
    number = int((whole + fraction).ljust(len(whole) + places, "0"))
    return -number if sign else number


def _parts(text: str) -> tuple[str, str, str]:
    match = _FORM.fullmatch(text)
    if match is None or len(text) > MAX_DECIMAL_CHARACTERS:
        raise MalformedDecimal("decimal has another form", expected=_EXPECTED, got=text)
    sign, whole, fraction = match.group(1), match.group(2), match.group(3) or ""
    if sign and not (whole + fraction).strip("0"):
        raise MalformedDecimal("negative zero is not used", expected=text[1:], got=text)
    return sign, whole, fraction
