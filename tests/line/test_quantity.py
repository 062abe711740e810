"""ledger.line.quantity: units, typed values and raw repeated readings."""

from __future__ import annotations

import contextlib
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.decimal_text import parse_decimal
from ledger.errors import MalformedInput, MalformedQuantity
from ledger.line import quantity as q

LENGTHS = ("in", "mm", "um", "uin")


@given(st.fractions(), st.sampled_from(LENGTHS), st.sampled_from(LENGTHS))
def test_conversion_there_and_back_is_exact(value: Fraction, one: str, two: str) -> None:
    """A converted value converts back to itself, exactly."""
    assert value == q.convert(q.convert(value, one, two), two, one)


def test_conversion_between_dimensions_is_refused() -> None:
    """A length is no mass."""
    with pytest.raises(MalformedQuantity, match="do not measure the same thing"):
        q.convert(Fraction(1), "in", "lb")


def test_unknown_unit_and_quantity_are_refused() -> None:
    """A name that is not in the tables is refused with the names that are."""
    with pytest.raises(MalformedQuantity, match="lb or"):
        q.convert(Fraction(1), "stone", "lb")
    with pytest.raises(MalformedQuantity, match="expected mass or circumference"):
        q.scaled_reading("1", "lb", "colour")


def test_every_quantity_names_known_units_of_one_dimension() -> None:
    """The table of quantities is sound."""
    for known in q.QUANTITIES.values():
        assert len({q.UNITS[unit].dimension for unit in known.units}) == 1
        assert known.low < known.high


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("15 lb 3 oz", Fraction(243, 16), "lb"),
        ("15 lb 3.04 oz", Fraction("15.19"), "lb"),
        ("15 lb 0 oz", Fraction(15), "lb"),
        ("15.19 lb", Fraction("15.19"), "lb"),
        ("6.889 kg", Fraction("6.889"), "kg"),
        ("6889 g", Fraction(6889), "g"),
        ("243 oz", Fraction(243), "oz"),
    ],
)
def test_explicit_weight_forms_are_read(text: str, value: Fraction, unit: str) -> None:
    """A weight that names its units has one meaning."""
    assert (value, unit) == q.parse_weight(text)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("15-3", "two ways"),
        ("15.3", "names no unit"),
        ("15.19", "names no unit"),
        ("15", "weight class"),
        ("15lb", "no explicit form"),
        ("15 lb 16 oz", "out of form"),
        ("15 lb 3.001 oz", "out of form"),
        ("15.5 lb 3 oz", "no explicit form"),
        ("-15 lb", "no explicit form"),
        ("٣ lb", "no explicit form"),
        ("15 lb\n", "no explicit form"),
        ("", "no explicit form"),
    ],
)
def test_other_weight_forms_are_refused_with_reason_and_mend(text: str, reason: str) -> None:
    """A weight that can be read two ways is refused, and the message says how to write it."""
    with pytest.raises(MalformedQuantity, match=reason) as caught:
        q.parse_weight(text)
    assert "15 lb 3 oz" in caught.value.mend


def test_scaled_weight_is_in_the_unit_weighed() -> None:
    """Fifteen pounds three ounces are 15,187,500 millionths of a pound."""
    assert q.scaled_weight("15 lb 3 oz") == (15_187_500, "lb")


@given(st.integers(0, 100 * q.SCALE))
def test_scaled_reading_keeps_the_typed_value(millionths: int) -> None:
    """Formatting a reading and scaling it again changes nothing."""
    text = q.format_number(Fraction(millionths, q.SCALE))
    assert millionths == q.scaled_reading(text, "shore_d", "hardness")


@pytest.mark.parametrize(
    ("text", "unit", "quantity", "reason"),
    [
        ("900", "lb", "mass", "not plausible"),
        ("101", "shore_d", "hardness", "not plausible"),
        ("8.5", "in", "circumference", "not plausible"),
        ("73", "lb", "hardness", "another unit"),
        ("73.1234567", "shore_d", "hardness", "too many places"),
        ("73,2", "shore_d", "hardness", "no decimal"),
        ("7e1", "shore_d", "hardness", "no decimal"),
        ("1" * 33, "shore_d", "hardness", "too long"),
    ],
)
def test_bad_readings_are_refused(text: str, unit: str, quantity: str, reason: str) -> None:
    """A typing error, a wrong unit and a value finer than a millionth are refused."""
    with pytest.raises(MalformedQuantity, match=reason):
        q.scaled_reading(text, unit, quantity)


@given(st.text(max_size=40), st.sampled_from(sorted(q.UNITS)), st.sampled_from(sorted(q.QUANTITIES)))
def test_any_text_gives_a_reading_or_our_error(text: str, unit: str, quantity: str) -> None:
    """No typed text gives any error but ours."""
    with contextlib.suppress(MalformedInput):
        assert abs(q.scaled_reading(text, unit, quantity)) < 10**12
    with contextlib.suppress(MalformedInput):
        assert 0 < q.scaled_weight(text)[0] < 10**12


@given(st.fractions())
def test_number_text_is_decimal_and_keeps_the_sign(value: Fraction) -> None:
    """Formatted numbers parse, lie within 1e-18 of the value, and are zero only for zero."""
    text = q.format_number(value)
    back = Fraction(parse_decimal(text))
    assert abs(back - value) <= Fraction(1, 10**18)
    assert (value > 0, value < 0) == (back > 0, back < 0)


@given(st.lists(st.integers(0, 10**8), min_size=1, max_size=9))
def test_statistics_agree_with_their_definitions(values: list[int]) -> None:
    """Mean times n is the sum; as many readings lie above the median as below; the range is the widest difference."""
    assert sum(values) == q.statistic(values, "mean") * len(values)
    median = q.statistic(values, "median")
    assert max(sum(v < median for v in values), sum(v > median for v in values)) * 2 <= len(values)
    assert max(abs(a - b) for a in values for b in values) == q.statistic(values, "range")


def test_single_takes_one_reading() -> None:
    """``single`` refuses to choose among several, and no statistic is made of nothing."""
    assert q.statistic([7], "single") == 7
    with pytest.raises(MalformedQuantity, match="several"):
        q.statistic([7, 7], "single")
    with pytest.raises(MalformedQuantity, match="missing"):
        q.statistic([], "mean")
    with pytest.raises(MalformedQuantity, match="unknown"):
        q.statistic([7], "mode")
