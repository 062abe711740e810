"""Sealed fields: binding, hiding, and unambiguous."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.sealed_field import Opening, check_opening, format_sealed, is_sealed, parse_sealed, seal
from ledger.errors import MalformedCanonical, MalformedRecord, SealedFieldMismatch
from tests.book.samples import flipped, values

SALT = bytes(range(32))
PATH = "0/draws/1/kg"


def test_the_framing_is_fixed() -> None:
    """Tag, salt, length and path, length and value: these bytes and no others."""
    framed = b"pourbook/sealed-field/1\n" + SALT + b"\x00\x00\x00\x0c0/draws/1/kg" + b'\x00\x00\x00\x06"12.5"'

    assert hashlib.sha256(framed).hexdigest() == seal(PATH, "12.5", SALT)


@given(values)
def test_the_opening_of_a_value_is_accepted(value: object) -> None:
    """What was sealed opens."""
    check_opening(Opening(PATH, SALT, value), seal(PATH, value, SALT))


@given(values, values)
def test_another_value_is_rejected(value: object, other: object) -> None:
    """A value opens only its own seal; true is not 1."""
    sealed = seal(PATH, value, SALT)
    if repr(value) != repr(other) and sealed != seal(PATH, other, SALT):
        with pytest.raises(SealedFieldMismatch):
            check_opening(Opening(PATH, SALT, other), sealed)


@given(st.integers(0, 255))
def test_any_bit_of_the_salt_or_digest_matters(bit: int) -> None:
    """One flipped bit in salt or digest is detected."""
    sealed = seal(PATH, "12.5", SALT)

    with pytest.raises(SealedFieldMismatch):
        check_opening(Opening(PATH, flipped(SALT, bit), "12.5"), sealed)
    with pytest.raises(SealedFieldMismatch):
        check_opening(Opening(PATH, SALT, "12.5"), flipped(bytes.fromhex(sealed), bit).hex())


def test_a_seal_belongs_to_its_place() -> None:
    """The same value and salt at another path is another digest."""
    with pytest.raises(SealedFieldMismatch):
        check_opening(Opening("0/draws/2/kg", SALT, "12.5"), seal(PATH, "12.5", SALT))


def test_the_salt_hides_equal_values() -> None:
    """Two equal values under two salts show no sign of being equal: nothing is left to guess by once salts go."""
    assert seal(PATH, "operator 7", SALT) != seal(PATH, "operator 7", SALT[::-1])


@pytest.mark.parametrize("path", ["", "kg", "0", "/0/kg", "0/", "0//kg", "00/kg", "0/é", "0/a b", "0/kg\n", "x/kg"])
def test_paths_of_another_form_are_refused(path: str) -> None:
    """A path starts with the record's position."""
    with pytest.raises(MalformedRecord):
        seal(path, "12.5", SALT)


def test_salt_and_value_have_their_form() -> None:
    """A salt is 32 bytes; a value is of the book's profile; a digest that is no text of hex is a mismatch."""
    with pytest.raises(MalformedRecord):
        seal(PATH, "12.5", SALT[:16])
    with pytest.raises(MalformedCanonical):
        seal(PATH, 12.5, SALT)
    with pytest.raises(SealedFieldMismatch):
        check_opening(Opening(PATH, SALT, "12.5"), "é\ud800")


@pytest.mark.parametrize(
    "value",
    [None, "a" * 64, {}, {"sealed": 1}, {"sealed": "A" * 64}, {"sealed": "a" * 63}, {"sealed": "a" * 64, "x": 1}],
    ids=ascii,
)
def test_only_the_one_object_is_a_sealed_field(value: object) -> None:
    """Anything but the one form is no sealed field."""
    assert is_sealed(value) is False
    with pytest.raises(MalformedRecord):
        parse_sealed(value)


def test_parse_undoes_format() -> None:
    """The object in the entry gives the digest back."""
    sealed = seal(PATH, "12.5", SALT)

    assert is_sealed(format_sealed(sealed))
    assert sealed == parse_sealed(format_sealed(sealed))
