"""Multibase and Multikey: what is written reads back, and nothing else is read."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import MalformedInput, MalformedKey
from ledger.evidence.multibase import (
    ALPHABET,
    MAX_CHARACTERS,
    format_multibase,
    format_multikey,
    parse_multibase,
    parse_multikey,
)


@given(st.binary(max_size=100))
def test_bytes_read_back(raw: bytes) -> None:
    """With their leading zeros."""
    assert raw == parse_multibase(format_multibase(raw))


@given(st.text(ALPHABET, max_size=100))
def test_text_reads_back(digits: str) -> None:
    """One text for each value, so none is read in two forms."""
    assert f"z{digits}" == format_multibase(parse_multibase(f"z{digits}"))


@pytest.mark.parametrize("text", ["", "m3", "uAQ", "z0", "zO", "zI", "zl", "z 1", "zé", "z" + "1" * MAX_CHARACTERS])
def test_another_base_or_character_is_refused(text: str) -> None:
    """Look-alikes are in no alphabet; what is too long is not begun with."""
    with pytest.raises(MalformedInput):
        parse_multibase(text)


def test_a_public_key_begins_with_z6mk() -> None:
    """And reads back."""
    text = format_multikey(bytes(range(32)))
    assert text.startswith("z6Mk")
    assert bytes(range(32)) == parse_multikey(text)


@pytest.mark.parametrize(
    "raw", [b"", b"\xed\x01", b"\xed\x01" + bytes(31), b"\xed\x01" + bytes(33), b"\xec\x01" + bytes(32)]
)
def test_another_kind_of_key_is_refused(raw: bytes) -> None:
    """An X25519 key, or one that is too short."""
    with pytest.raises(MalformedKey):
        parse_multikey(format_multibase(raw))


@given(st.text(max_size=60))
def test_any_text_is_a_key_or_refused(text: str) -> None:
    """Never another error."""
    with pytest.raises(MalformedKey):
        parse_multikey(text)
