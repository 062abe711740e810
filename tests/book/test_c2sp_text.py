"""The text forms that the C2SP formats share: each value has one spelling."""

from __future__ import annotations

import base64

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.c2sp_text import format_base64, parse_base64, parse_count, parse_hash
from ledger.errors import MalformedNote


@given(st.binary(max_size=100))
def test_base64_is_that_of_the_standard_library(raw: bytes) -> None:
    """The encoding is RFC 4648 section 4, and reading undoes writing."""
    assert base64.b64encode(raw).decode() == format_base64(raw)
    assert raw == parse_base64(format_base64(raw), MalformedNote)


@given(st.text(max_size=12) | st.text("AQgw+/=-_ \n", max_size=12))
def test_any_text_has_one_spelling_or_is_refused(text: str) -> None:
    """What is read is written the same again."""
    try:
        raw = parse_base64(text, MalformedNote)
    except MalformedNote:
        return
    assert text == format_base64(raw)


@pytest.mark.parametrize("text", ["AAA", "AA==A", "AB==", "A A=", "AA==\n", "=", "AAAA====", "-_==", "é"])
def test_other_spellings_are_refused(text: str) -> None:
    """No missing padding, unused bits, junk, spaces or other alphabet."""
    with pytest.raises(MalformedNote):
        parse_base64(text, MalformedNote)


def test_a_hash_has_32_bytes() -> None:
    """Another length is no hash."""
    assert parse_hash(format_base64(bytes(32)), MalformedNote) == bytes(32)
    for length in (0, 31, 33):
        with pytest.raises(MalformedNote):
            parse_hash(format_base64(bytes(length)), MalformedNote)


@given(st.integers(0, 2**63 - 1))
def test_counts_are_plain_decimals(number: int) -> None:
    """Reading undoes writing up to 2^63-1."""
    assert number == parse_count(str(number), MalformedNote)


@pytest.mark.parametrize(
    "text", ["", "+5", "-5", "05", "00", "1_0", " 5", "5 ", "5\n", "٥", "0x5", "1e3", str(2**63), "9" * 30]
)
def test_other_numbers_are_refused(text: str) -> None:
    """Everything else that a general reader of integers would take is refused."""
    with pytest.raises(MalformedNote):
        parse_count(text, MalformedNote)
