"""Cookies, form tokens and enrolment codes: their text, and what is kept of them."""

from __future__ import annotations

from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.access.cookies import (
    CODE_SIGNS,
    Holder,
    code_digest,
    cookie_digest,
    form_token,
    format_code,
    format_cookie,
    is_form_token,
)
from ledger.access.tokens import format_token
from ledger.errors import Unauthenticated

BYTES = st.binary(min_size=32, max_size=32)


@given(BYTES, st.sampled_from(["session", "device"]))
def test_a_cookie_is_kept_as_its_digest(random: bytes, holder: Holder) -> None:
    """What is kept of a cookie is the SHA-256 of its text."""
    text = format_cookie(holder, random)
    assert sha256(text.encode()).hexdigest() == cookie_digest(holder, text)


@given(BYTES)
def test_one_kind_is_not_taken_for_another(random: bytes) -> None:
    """A session's cookie is no device's, and a bearer token is neither."""
    texts = {"session": format_cookie("session", random), "device": format_cookie("device", random)}
    for holder, text in (("session", texts["device"]), ("device", texts["session"]), ("session", format_token(random))):
        with pytest.raises(Unauthenticated):
            cookie_digest(holder, text)  # type: ignore[arg-type]  # one of the two words


@pytest.mark.parametrize(
    "text", ["", "pbs1_", "pbs1_" + "A" * 42, "pbs1_" + "A" * 44, "pbs1_" + "A" * 42 + "é", "A" * 43]
)
def test_text_that_is_no_cookie_is_refused_without_repeating_it(text: str) -> None:
    """Another form is refused, and the message does not hold it."""
    with pytest.raises(Unauthenticated) as caught:
        cookie_digest("session", text)
    assert not text or text not in str(caught.value)


@pytest.mark.parametrize("length", [0, 31, 33])
def test_a_cookie_takes_32_random_bytes(length: int) -> None:
    """Fewer or more are refused."""
    with pytest.raises(Unauthenticated):
        format_cookie("session", bytes(length))


@given(BYTES, BYTES, st.text(max_size=70))
def test_a_form_token_belongs_to_its_cookie(one: bytes, other: bytes, said: str) -> None:
    """The token of a cookie fits it and no other, no other text does, and it tells neither cookie nor digest."""
    cookies = [format_cookie("session", random) for random in (one, other)]
    token = form_token(cookies[0])
    assert is_form_token(cookies[0], token)
    assert (one == other) == is_form_token(cookies[1], token)
    assert (said == token) == is_form_token(cookies[0], said)
    assert token not in {cookies[0], cookie_digest("session", cookies[0])}


@given(st.binary(min_size=5, max_size=5))
def test_a_code_is_the_same_however_it_is_typed(random: bytes) -> None:
    """Small letters, spaces and hyphens do not count; every bit of the random bytes does."""
    code = format_code(random)
    assert 8 == len(code)
    assert int.from_bytes(random, "big") == sum(CODE_SIGNS.index(sign) * 32 ** (7 - at) for at, sign in enumerate(code))
    assert code_digest(code) == code_digest(f" {code[:4].lower()}-{code[4:]} ")


@pytest.mark.parametrize("typed", ["", "ABCDEFG", "ABCDEFGHJ", "ABCDEFG0", "ABCDEFGI", "ABCDEFGÄ"])
def test_text_that_is_no_code_is_refused(typed: str) -> None:
    """Another length, or a sign that codes do not have."""
    with pytest.raises(Unauthenticated):
        code_digest(typed)
