"""Multibase with base58btc, and Multikey for Ed25519: how keys and signatures stand in credentials and DID documents.

A value is ``z`` and base58btc of the bytes. A public key is ``z`` and base58btc of ``0xed01`` and its 32 bytes, so it begins
``z6Mk``.  Source: W3C Controlled Identifiers v1.0, sections 2.4 (multibase) and 2.2.2 (Multikey).
"""

from __future__ import annotations

from ledger.book.signing import PUBLIC_KEY_BYTES
from ledger.errors import MalformedInput, MalformedKey

ALPHABET = "123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz"
MAX_CHARACTERS = 200
"""Longer values are none of ours; decoding costs the square of the length."""

_ED25519 = b"\xed\x01"
_VALUE = {character: value for value, character in enumerate(ALPHABET)}


def format_multibase(raw: bytes) -> str:
    """The bytes as multibase text in base58btc."""
    number, text = int.from_bytes(raw, "big"), ""
    while number:
        number, digit = divmod(number, 58)
        text = ALPHABET[digit] + text
    zeros = len(raw) - len(raw.lstrip(b"\0"))
    return "z" + ALPHABET[0] * zeros + text


def parse_multibase(text: str, where: str = "") -> bytes:
    """The bytes of multibase text. Raises MalformedInput for another base, another character, or too long a text."""
    if not text.startswith("z") or len(text) > MAX_CHARACTERS:
        raise MalformedInput("not multibase in base58btc", expected=f"z and at most {MAX_CHARACTERS}", where=where)
    digits = text[1:]
    if not set(digits) <= _VALUE.keys():
        raise MalformedInput("not base58btc", got=text, where=where)
    number = 0
    for character in digits:
        number = number * 58 + _VALUE[character]
    zeros = len(digits) - len(digits.lstrip(ALPHABET[0]))
    return b"\0" * zeros + number.to_bytes((number.bit_length() + 7) // 8, "big")


def format_multikey(public: bytes) -> str:
    """An Ed25519 public key (32 bytes) as Multikey."""
    return format_multibase(_ED25519 + public)


def parse_multikey(text: str, where: str = "publicKeyMultibase") -> bytes:
    """The Ed25519 public key, 32 bytes. Raises MalformedKey for another kind of key, and for text that is none."""
    try:
        raw = parse_multibase(text, where)
    except MalformedInput as error:
        raise MalformedKey("key is not a Multikey", got=text, where=where) from error
    if raw[:2] != _ED25519 or len(raw) != 2 + PUBLIC_KEY_BYTES:
        raise MalformedKey("key is of another type", expected="Ed25519 as Multikey, z6Mk...", got=text, where=where)
    return raw[2:]
