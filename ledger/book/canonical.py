"""Canonical bytes: a restricted profile of RFC 8785 (JSON Canonicalization Scheme).

The profile allows objects with ASCII keys, arrays, text, booleans and integers within ±(2^53-1).
It has no floats (decimals are text, see ``decimal_text``) and no null (optional means absent);
text is NFC and holds no lone surrogate; nesting is at most 32 deep; one value is at most 65,535 bytes.
Within that profile, sorting keys by code point equals the UTF-16 order of RFC 8785 section 3.2.3,
and no number needs section 3.2.2.3, so a fast general encoder gives the same bytes as a full one.

Text that is not NFC is refused, never repaired: the bytes that were said are the bytes that are hashed.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Annotated, Any
from unicodedata import category, is_normalized

import msgspec

from ledger.errors import MalformedCanonical, TooLarge

if TYPE_CHECKING:
    from collections.abc import Callable

MAX_ENTRY_BYTES = 65_535
MAX_INTEGER = 2**53 - 1
MAX_DEPTH = 32

_encode = msgspec.json.Encoder(order="deterministic").encode
_encode_typed = msgspec.json.Encoder(order="sorted").encode
_decode = msgspec.json.Decoder().decode


def _profile(depth: int) -> Any:
    """The profile as a type, for values nested at most so deep: what the fast decoder takes, the profile allows."""
    within: Any = str | bool | Annotated[int, msgspec.Meta(ge=-MAX_INTEGER, le=MAX_INTEGER)]
    for _ in range(depth):
        within = (
            str
            | bool
            | Annotated[int, msgspec.Meta(ge=-MAX_INTEGER, le=MAX_INTEGER)]
            | list[within]
            | dict[str, within]
        )
    return within


# Values of this service are nested less deep; a deeper one is looked at by the slow walk, with the same outcome.
_read_shallow = msgspec.json.Decoder(_profile(8)).decode


def encode(value: object) -> bytes:
    """Give the canonical bytes of ``value`` (dict, list, tuple, str, int and bool only; no subclasses).

    Costs one walk and one encoding. Raises MalformedCanonical outside the profile,
    TooLarge above MAX_ENTRY_BYTES. Source: RFC 8785 section 3.2.
    """
    _check_profile(value, 0, _check_said_text)
    return _fitting(_encode(value))


def encode_typed(value: object) -> bytes:
    """Give the canonical bytes of Structs, or tuples of them; fields that are UNSET are absent. The same as ``encode``
    of their builtins, at a tenth of the cost where all text is ASCII.

    The fields' types must be inside the profile, as those of every record are (a test says so): what stands in them is
    looked at as JSON, so bytes in the place of text would pass as their base64. Raises as ``encode`` does.
    """
    try:
        raw = _encode_typed(value)
        if raw.isascii():
            _read_shallow(raw)
            return _fitting(raw)
    except (msgspec.MsgspecError, UnicodeError, TypeError, ValueError, RecursionError):
        pass  # the walk says what is wrong with it, or that it is only deep
    return encode(msgspec.to_builtins(value))


def _fitting(raw: bytes) -> bytes:
    if len(raw) > MAX_ENTRY_BYTES:
        raise TooLarge("canonical bytes are too many", expected=f"at most {MAX_ENTRY_BYTES}", got=len(raw))
    return raw


def decode(raw: bytes) -> object:
    """Read canonical bytes back; the value given encodes to exactly ``raw`` again.

    Raises MalformedCanonical for anything else: duplicate keys, spaces, other key order, escapes that
    canonical text does not need, floats, null, text that is not NFC, or more than MAX_ENTRY_BYTES.
    """
    if len(raw) > MAX_ENTRY_BYTES:
        raise MalformedCanonical("canonical bytes are too many", expected=f"at most {MAX_ENTRY_BYTES}", got=len(raw))
    try:
        value = _read_ascii(raw)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise MalformedCanonical("bytes are not JSON") from error
    # A duplicate key is dropped by the decoder, so it shows here as a difference in length.
    if _encode(value) != raw:
        raise MalformedCanonical("bytes are JSON, and not in canonical form")
    return value


def _read_ascii(raw: bytes) -> object:
    """The value of JSON bytes, inside the profile."""
    # An escape could stand for text that has to be looked at.
    if raw.isascii() and b"\\u" not in raw:
        with suppress(msgspec.DecodeError):
            return _read_shallow(raw)
    value = _decode(raw)
    _check_profile(value, 0, _check_text)
    return value


def _check_profile(value: Any, depth: int, check_text: Callable[[str], None]) -> None:
    """Walk ``value`` once. Exact types only: a subclass could encode as something else."""
    kind = type(value)
    if kind is str:
        if not value.isascii():
            check_text(value)
    elif kind is dict or kind is list or kind is tuple:
        if depth >= MAX_DEPTH:
            raise MalformedCanonical("value is nested too deep", expected=f"at most {MAX_DEPTH}")
        if kind is dict:
            _check_members(value, depth + 1, check_text)
        else:
            for member in value:
                _check_profile(member, depth + 1, check_text)
    elif kind is int:
        if not -MAX_INTEGER <= value <= MAX_INTEGER:
            raise MalformedCanonical("integer is out of range", expected="within ±(2^53-1)")
    elif kind is not bool:
        raise MalformedCanonical(
            "value has a type outside the profile",
            expected="object, array, text, integer or boolean",
            got="null" if value is None else kind.__name__,
            mend="write decimals as text, and leave out what is absent",
        )


def _check_members(members: dict[Any, Any], depth: int, check_text: Callable[[str], None]) -> None:
    for key, member in members.items():
        if type(key) is not str or not key.isascii():
            raise MalformedCanonical("object key is not ASCII text", got=ascii(key))
        # The commonest members are told apart here: a call for each costs more than the check.
        kind = type(member)
        if kind is str:
            if not member.isascii():
                check_text(member)
        elif kind is not bool:
            _check_profile(member, depth, check_text)


def _check_text(text: str) -> None:
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise MalformedCanonical("text holds a lone surrogate") from error
    if not is_normalized("NFC", text):
        raise MalformedCanonical("text is not in Unicode normalization form C", mend="send the text as NFC")


def _check_said_text(text: str) -> None:
    """Refuse also what Unicode has not assigned yet: only for assigned characters does NFC stay NFC for ever.

    Not asked on reading, so that an older Unicode table still reads what a newer one wrote.
    Source: Unicode Standard Annex 15, section 3 (versioning and stability).
    """
    _check_text(text)
    for char in text:
        if category(char) == "Cn":
            raise MalformedCanonical("text holds a code point without a character", got=ascii(char))
