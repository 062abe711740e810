"""Readings as they are typed, or as a gauge types them: a number and its unit, and nothing that can be read two ways."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.pages.stations.read_back import is_read_back, places, read_serial
from api.pages.stations.typed_reading import typed_number, typed_values
from ledger.book.decimal_text import parse_decimal
from ledger.errors import LedgerError, MalformedLink, MalformedQuantity

SHOWN = {"mass": "lb", "hardness": "shore_d", "rg_low": "in", "roughness": "uin", "top_weight": "oz", "friction": "1"}


def typed(text: str, quantity: str) -> tuple[str, ...]:
    """The values of a field whose gauge shows the quantity's unit."""
    return typed_values(text, quantity=quantity, unit=SHOWN[quantity], where=f"value.{quantity}")


@pytest.mark.parametrize(
    ("text", "quantity", "values"),
    [
        ("15.05 lb", "mass", ("15.05",)),
        ("015.050lb", "mass", ("15.050",)),
        ("+ 15,05 lbs", "mass", ("15.05",)),
        ("15 lb 3 oz", "mass", ("15.1875",)),
        ("HD 74.5", "hardness", ("74.5",)),
        ("74.5", "hardness", ("74.5",)),
        ("Shore D 74", "hardness", ("74",)),
        ("2.548 in", "rg_low", ("2.548",)),
        ('2.548"', "rg_low", ("2.548",)),
        ("40 µin", "roughness", ("40",)),
        ("-0.50 oz", "top_weight", ("-0.50",)),
        ("- 0.0", "top_weight", ("0.0",)),
        ("0.21", "friction", ("0.21",)),
        ("74.5; 75.0\r\n74;", "hardness", ("74.5", "75.0", "74")),
        ("  ", "hardness", ()),
    ],
)
def test_a_number_with_its_unit_is_read(text: str, quantity: str, values: tuple[str, ...]) -> None:
    """Units before or after, signs, zeros in front, and several values stand as the record has them."""
    assert values == typed(text, quantity)


@pytest.mark.parametrize(
    ("text", "quantity", "problem"),
    [
        ("15.3", "mass", "names no unit"),
        ("15-3", "mass", "can be read two ways"),
        ("15", "mass", "may be a weight class"),
        ("15,3", "mass", "names no unit"),
        ("6.889 kg", "mass", "another unit"),
        ("-15 lb", "mass", "no explicit form"),
        ("15 lb 17 oz", "mass", "out of form"),
        ("2.548 mm", "rg_low", "another unit"),
        ("2.548 furlongs", "rg_low", "not known"),
        ("HD 74.5 HD", "hardness", "both sides"),
        ("1,234.5", "roughness", "two decimal signs"),
        ("1e5", "roughness", "not known|no number"),
        ("abc", "hardness", "no number"),
        ("9" * 60, "hardness", "too long"),
        (";".join(["74"] * 51), "hardness", "too many"),
    ],
)
def test_what_can_be_read_two_ways_is_refused_in_words(text: str, quantity: str, problem: str) -> None:
    """The field is named, and the words say what is wrong."""
    with pytest.raises(MalformedQuantity, match=problem) as refused:
        typed(text, quantity)
    assert f"value.{quantity}" == refused.value.where


@given(st.text(max_size=60), st.sampled_from(sorted(SHOWN)))
def test_any_text_is_decimal_text_or_refused(text: str, quantity: str) -> None:
    """Nothing gets through that a record could not hold."""
    try:
        values = typed(text, quantity)
    except LedgerError:
        return
    for value in values:
        parse_decimal(value)


def test_a_condition_is_a_number_with_a_sign_or_none() -> None:
    """A temperature below zero, a comma, nothing; words are refused."""
    assert ["-3.5", "21.5", ""] == [typed_number(text, where="t") for text in ("-3,5", "+21.5", " ")]
    with pytest.raises(MalformedQuantity):
        typed_number("warm", where="t")


def test_a_number_is_read_back_in_any_form_of_writing() -> None:
    """Spaces, hyphens and small letters do not count; a label's address gives its number."""
    assert "RDKGT4H69" == read_serial(" rdk-gt4 h69\n")
    assert "RDKGT4H69" == read_serial("https://id.example.com/01/09521234543213/21/RDKGT4H69")
    assert "" == read_serial("https://id.example.com/01/09521234543213/10/SL-1")
    with pytest.raises(MalformedLink):
        read_serial("https://id.example.com/nothing")


def test_no_character_is_taken_for_another() -> None:
    """An O is no zero: the place differs, and is named; a missing character differs too."""
    assert not is_read_back("RDKGT4H69", read_serial("RDKGT4H6"))
    compared = places("AB0", "AB")
    assert [(1, True), (2, True), (3, False)] == [(place.number, place.same) for place in compared]
    assert ("0", "") == (compared[2].shown, compared[2].read)
