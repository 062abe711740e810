"""GTIN check digits and Digital Link addresses against published examples and independent code."""

import json
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum import ean

from ledger.errors import MalformedLink
from ledger.line.gs1 import (
    CHARACTER_SET_82,
    Link,
    check_gtin14,
    format_link,
    gtin_check_digit,
    lot_link,
    pad_gtin,
    parse_link,
)

VECTORS = Path(__file__).resolve().parents[3] / "shared" / "reference" / "vectors" / "gs1.json"


@pytest.fixture(scope="module")
def vectors() -> dict[str, Any]:
    """The published GS1 cases, each with its source in the file."""
    if not VECTORS.exists():
        pytest.skip("the reference vectors are not beside the project")
    read: dict[str, Any] = json.loads(VECTORS.read_text())
    return read


def test_the_worked_check_digit_is_3() -> None:
    """Source: GS1 Hong Kong, check digit page, 629104150021 with sum 57."""
    assert "3" == gtin_check_digit("629104150021")


def test_the_example_gtin_is_right() -> None:
    """Source: GS1 Digital Link URI Syntax, examples (952 is the range for examples)."""
    check_gtin14("09520123456788")
    assert "09520123456788" == pad_gtin("9520123456788")


@given(st.text("0123456789", min_size=1, max_size=20))
def test_every_check_digit_is_that_of_python_stdnum(body: str) -> None:
    """Source: python-stdnum, stdnum.ean, an independent implementation."""
    assert ean.calc_check_digit(body) == gtin_check_digit(body)


def test_published_check_digits_hold(vectors: dict[str, Any]) -> None:
    """Source: GS1 syntax dictionary unit tests and others named in the file."""
    assert [case["check"] for case in vectors["check_digits"]] == [
        gtin_check_digit(case["body"]) for case in vectors["check_digits"]
    ]


def test_published_wrong_check_digits_are_found(vectors: dict[str, Any]) -> None:
    """Source: GS1 syntax dictionary unit tests."""
    for case in vectors["bad_check_digits"]:
        assert case["full"][-1] != gtin_check_digit(case["full"][:-1])


def test_published_texts_with_a_non_digit_are_refused(vectors: dict[str, Any]) -> None:
    """Source: GS1 syntax dictionary unit tests."""
    for case in vectors["non_digit"]:
        with pytest.raises(MalformedLink):
            gtin_check_digit(case["full"])


def test_the_character_set_is_the_published_one(vectors: dict[str, Any]) -> None:
    """Source: GS1 syntax dictionary, cset82."""
    assert set(vectors["cset82"]["chars"]) == CHARACTER_SET_82
    assert not CHARACTER_SET_82 & set(vectors["cset82"]["not_allowed_examples"])


def test_published_addresses_of_a_gtin_are_read(vectors: dict[str, Any]) -> None:
    """Source: GS1 syntax engine unit tests; those that name no GTIN are outside what is read here, and refused."""
    for case in vectors["digital_link_valid"]:
        if not case["element_string"].startswith("(01)"):
            with pytest.raises(MalformedLink):
                parse_link(case["uri"])
            continue
        link = parse_link(case["uri"])
        said = f"(01){link.gtin14}"
        for ai, value in (("22", link.variant), ("10", link.lot), ("21", link.serial)):
            said += f"({ai}){value}" if value is not None else ""
        assert case["element_string"].startswith(said)


def test_published_wrong_addresses_are_refused(vectors: dict[str, Any]) -> None:
    """Source: GS1 syntax engine unit tests."""
    for case in vectors["digital_link_invalid"]:
        with pytest.raises(MalformedLink):
            parse_link(case["uri"])


def test_published_addresses_are_built() -> None:
    """Source: GS1 syntax engine unit tests of the Digital Link builder."""
    assert "https://id.gs1.org/01/12312312312326/21/abc123" == format_link("id.gs1.org", "12312312312326", "abc123")
    assert "https://example.com/01/12312312312333/10/ABC123/21/XYZ" == format_link(
        "https://example.com/", "12312312312333", "XYZ", "ABC123"
    )


@given(st.text(sorted(CHARACTER_SET_82), min_size=1, max_size=20).filter(lambda lot: lot not in {".", ".."}))
def test_escapes_are_those_of_rfc_3986(lot: str) -> None:
    """Source: RFC 3986 2.3, by way of the standard library's quote, which agrees with the GS1 engine on every escape."""
    assert f"https://a/01/09520123456788/10/{quote(lot, safe='')}" == lot_link("a", "09520123456788", lot)


def test_the_published_escapes_are_read() -> None:
    """Source: GS1 syntax engine: a plus in a path is a plus."""
    assert Link("12312312312333", variant="ABC+123") == parse_link("https://a/01/12312312312333/22/ABC+123")
