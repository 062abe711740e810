"""Canonical bytes: one form for each value, and nothing outside the profile."""

from __future__ import annotations

from enum import IntEnum

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.canonical import MAX_DEPTH, MAX_ENTRY_BYTES, decode, encode
from ledger.errors import MalformedCanonical, TooLarge
from tests.book.samples import values


class _Shade(IntEnum):
    RED = 1


@given(values)
def test_decode_gives_back_what_was_encoded(value: object) -> None:
    """Decoding undoes encoding, for every value of the profile."""
    assert value == decode(encode(value))


@given(st.dictionaries(st.text(st.characters(max_codepoint=127)), st.integers(-5, 5)))
def test_order_of_keys_does_not_matter(members: dict[str, int]) -> None:
    """Two objects with the same members have the same bytes."""
    assert encode(members) == encode(dict(reversed(members.items())))


@pytest.mark.parametrize(
    "value",
    [
        None,
        1.0,
        float("nan"),
        b"bytes",
        {"a": None},
        [1.5],
        {1: "a"},
        {"é": 1},
        {"\ud800": 1},
        "\ud800",
        ["e\u0301"],
        {"a": "A\u030a"},
        "\U0010ffff",
        2**53,
        -(2**53),
        _Shade.RED,
    ],
    ids=ascii,
)
def test_values_outside_the_profile_are_refused(value: object) -> None:
    """No null, float, bytes, tuple, foreign key, surrogate, text that is not NFC, wide integer or subclass."""
    with pytest.raises(MalformedCanonical):
        encode(value)


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"{",
        b' {"a":1}',
        b'{"a":1}\n',
        b'{"a": 1}',
        b'{"b":1,"a":2}',
        b'{"a":1,"a":1}',
        b'{"a":1,"a":2}',
        b"1.0",
        b"1e3",
        b"-0",
        b"01",
        b"null",
        b'["\\u0041"]',
        b'["\\u001F"]',
        b'["\\/"]',
        b'["\\ud800"]',
        b'"\xed\xa0\x80"',
        b'"\xff"',
        b"\xef\xbb\xbf{}",
        b"NaN",
        b"9007199254740992",
        b"1" + b"0" * 5000,
        b"[1e400]",
        b'["e\xcc\x81"]',
        b"[" * 60_000,
    ],
    ids=lambda raw: ascii(raw[:20]),
)
def test_bytes_in_another_form_are_refused(raw: bytes) -> None:
    """What is not the one form of its value is refused, duplicate keys and needless escapes among it."""
    with pytest.raises(MalformedCanonical):
        decode(raw)


@pytest.mark.parametrize("opening", ["[", '{"a":'])
def test_depth_has_a_limit(opening: str) -> None:
    """The deepest value allowed is read, one deeper is refused."""
    closing = "]" if opening == "[" else "}"
    core = "[]" if opening == "[" else "{}"
    decode((opening * (MAX_DEPTH - 1) + core + closing * (MAX_DEPTH - 1)).encode())

    with pytest.raises(MalformedCanonical):
        decode((opening * MAX_DEPTH + core + closing * MAX_DEPTH).encode())


def test_a_value_that_holds_itself_is_refused() -> None:
    """A cycle ends at the depth limit."""
    value: list[object] = []
    value.append(value)

    with pytest.raises(MalformedCanonical):
        encode(value)


def test_length_has_a_limit_in_bytes() -> None:
    """65,535 bytes are taken, one more is too large; é counts as two."""
    assert MAX_ENTRY_BYTES == len(encode("x" * (MAX_ENTRY_BYTES - 2)))
    with pytest.raises(TooLarge):
        encode("x" * (MAX_ENTRY_BYTES - 1))
    with pytest.raises(TooLarge):
        encode("é" * (MAX_ENTRY_BYTES // 2))
    with pytest.raises(MalformedCanonical):
        decode(b'"' + b"x" * (MAX_ENTRY_BYTES - 1) + b'"')
