"""Decimals as text: exact, one form, zeros kept."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.decimal_text import format_decimal, parse_decimal, scaled
from ledger.errors import MalformedDecimal

decimals = st.from_regex(r"\A-?(0|[1-9][0-9]{0,20})(\.[0-9]{1,20})?\Z").filter(
    lambda text: not (text.startswith("-") and not text.strip("-0."))
)


@given(decimals)
def test_format_undoes_parse(text: str) -> None:
    """Reading and writing gives the same text, trailing zeros included."""
    assert text == format_decimal(parse_decimal(text))


@given(decimals, st.integers(20, 25))
def test_scaled_is_exact(text: str, places: int) -> None:
    """The scaled integer is the number times a power of ten, without any rounding."""
    assert Fraction(text) * 10**places == scaled(text, places)


@pytest.mark.parametrize(
    "text",
    ["", "-", "+1", "05", "00", "-0", "-0.0", "0.", ".5", "1e3", "1E-2", "1_0", " 1", "1 ", "1\n", "٥", "NaN", "Infinity",
     "--1", "1.2.3", "1" * 65, "0x1"],
)  # fmt: skip
def test_other_forms_are_refused(text: str) -> None:
    """Signs, exponents, leading zeros, bare points, negative zero and other digits are refused."""
    with pytest.raises(MalformedDecimal):
        parse_decimal(text)
    with pytest.raises(MalformedDecimal):
        scaled(text, 70)


@given(st.text(max_size=12))
def test_any_text_is_a_decimal_or_is_refused(text: str) -> None:
    """Arbitrary text raises the one error, or is the one form."""
    try:
        value = parse_decimal(text)
    except MalformedDecimal:
        return
    assert text == format_decimal(value)


@pytest.mark.parametrize(
    "text", ["NaN", "sNaN", "Infinity", "-Infinity", "-0", "-0.00", "1E+100000000", "1E-100000000"]
)
def test_what_the_form_cannot_say_is_refused(text: str) -> None:
    """No NaN, infinity, negative zero or very long number is written."""
    with pytest.raises(MalformedDecimal):
        format_decimal(Decimal(text))


def test_a_positive_exponent_is_written_out() -> None:
    """1E+3 is 1000 in the book."""
    assert format_decimal(Decimal("1E+3")) == "1000"


def test_more_places_than_asked_are_refused_and_not_dropped() -> None:
    """Even a zero too many is refused: 15.10 has two places."""
    assert scaled("15.10", 2) == 1510
    assert scaled("-0.5", 3) == -500
    with pytest.raises(MalformedDecimal):
        scaled("15.10", 1)
