"""Canonical bytes against RFC 8785: the pairs of its reference data, and an independent library.

Published pairs: cyberphone/json-canonicalization@19d51d7 testdata/, Apache-2.0.
Independent library: rfc8785 0.1, Apache-2.0. The profile of the book is narrower than the RFC on purpose: what holds
null, floats, keys that are not ASCII or text that is not NFC must be refused, not written another way.
"""

from __future__ import annotations

import json
from typing import Any

import pytest
import rfc8785
from hypothesis import given

from ledger.book.canonical import MAX_INTEGER, decode, encode
from ledger.errors import MalformedCanonical
from tests.book.samples import values, vectors


def _in_profile(value: Any) -> bool:
    """The profile said a second time, without the code under test."""
    if isinstance(value, dict):
        return all(key.isascii() for key in value) and all(map(_in_profile, value.values()))
    if isinstance(value, list):
        return all(map(_in_profile, value))
    if isinstance(value, str):
        return "\u030a" not in value and "\u0301" not in value
    return isinstance(value, bool) or (isinstance(value, int) and abs(value) <= MAX_INTEGER)


@given(values)
def test_bytes_agree_with_the_rfc8785_package(value: Any) -> None:
    """For every value of the profile, an independent implementation gives the same bytes."""
    assert rfc8785.dumps(value) == encode(value)


def test_control_characters_are_escaped_as_the_rfc_has_it() -> None:
    """RFC 8785 section 3.2.2.2: two-character escapes where they exist, else lower-case hex; all else as it is."""
    text = "".join(map(chr, range(0x80))) + "\u2028€"
    expected = (
        '"\\u0000\\u0001\\u0002\\u0003\\u0004\\u0005\\u0006\\u0007\\b\\t\\n\\u000b\\f\\r\\u000e\\u000f'
        "\\u0010\\u0011\\u0012\\u0013\\u0014\\u0015\\u0016\\u0017\\u0018\\u0019\\u001a\\u001b\\u001c\\u001d\\u001e\\u001f"
        " !\\\"#$%&'()*+,-./0123456789:;<=>?@ABCDEFGHIJKLMNOPQRSTUVWXYZ[\\\\]^_`abcdefghijklmnopqrstuvwxyz{|}~\x7f"
        '\u2028€"'
    )

    assert expected.encode() == encode(text)


def test_keys_are_sorted_as_the_rfc_has_it() -> None:
    """RFC 8785 section 3.2.3: by code unit, so that "" < "1" < "10" < "A" < "a" < "aa"."""
    assert encode(dict.fromkeys(["aa", "a", "A", "10", "1", ""], True)).decode() == (
        '{"":true,"1":true,"10":true,"A":true,"a":true,"aa":true}'
    )


def test_reference_pairs() -> None:
    """The pairs inside the profile give the published bytes; all others are refused, on both sides."""
    published = vectors("jcs.json")
    inside = 0
    for pair in published["published_pairs"] + published["own_pairs"]:
        value, raw = json.loads(pair["input_json"]), bytes.fromhex(pair["output_utf8_hex"])
        if _in_profile(value):
            inside += 1
            assert raw == encode(value)
            assert value == decode(raw)
        else:
            with pytest.raises(MalformedCanonical):
                encode(value)
            # A float such as 1.0 is written as an integer by the RFC, and those bytes are in the profile.
            if not _in_profile(json.loads(raw)):
                with pytest.raises(MalformedCanonical):
                    decode(raw)
    assert inside >= 2


def test_numbers_of_appendix_b_with_a_fraction_or_exponent_are_refused() -> None:
    """RFC 8785 Appendix B: floats are outside the profile, integers within 2^53-1 are written as there."""
    for case in vectors("jcs.json")["published_numbers"]:
        raw = (case.get("json") or "NaN").encode()
        try:
            number = int(raw)
        except ValueError:
            number = MAX_INTEGER + 1
        if abs(number) <= MAX_INTEGER:
            assert raw == encode(decode(raw))
        else:
            with pytest.raises(MalformedCanonical):
                decode(raw)


def test_what_must_be_refused_on_reading_is_refused() -> None:
    """RFC 7493 and the parse-side traps: duplicate names, NaN, wide numbers, surrogates, a byte order mark."""
    for case in vectors("jcs.json")["parse_side"]:
        raw = case.get("input_json", "").encode("utf-8", "surrogatepass")
        with pytest.raises(MalformedCanonical):
            decode(raw)
    for raw in (b"\xef\xbb\xbf{}", b"1" + b"0" * 5_000, b'{"serial":"A","serial":"B"}'):
        with pytest.raises(MalformedCanonical):
            decode(raw)
