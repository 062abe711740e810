"""Tokens: their text, and what is kept of them."""

from __future__ import annotations

from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.access.tokens import format_token, parse_token, token_digest
from ledger.errors import Unauthenticated


@given(st.binary(min_size=32, max_size=32))
def test_tokens_read_back(random: bytes) -> None:
    """A token's text gives its bytes back, and its digest is that of the bytes."""
    text = format_token(random)
    assert (random, sha256(random).hexdigest()) == (parse_token(text), token_digest(text))


@given(st.text(max_size=60))
def test_other_text_is_refused_without_repeating_it(text: str) -> None:
    """Text that is no token is refused, and the refusal does not hold it."""
    try:
        random = parse_token(text)
    except Unauthenticated as refused:
        assert len(text) < 6 or text not in str(refused)  # noqa: PT017  # either outcome is right for some text
    else:
        assert text == format_token(random)


@pytest.mark.parametrize("change", ["prefix", "short", "long", "spaces", "padding", "last bits"])
def test_one_text_stands_for_one_token(change: str) -> None:
    """A token with another prefix, length, spaces, padding or unused bits is refused."""
    text = format_token(bytes(32))
    changed = {
        "prefix": "pbk2_" + text[5:],
        "short": text[:-1],
        "long": text + "A",
        "spaces": " " + text,
        "padding": text + "=",
        "last bits": text[:-1] + "B",
    }[change]
    with pytest.raises(Unauthenticated):
        parse_token(changed)


@pytest.mark.parametrize("length", [0, 31, 33])
def test_tokens_are_made_of_32_bytes(length: int) -> None:
    """No token is made of fewer or more bytes."""
    with pytest.raises(Unauthenticated):
        format_token(bytes(length))
