"""Which password an account may have, and which names are the same at sign-in."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.access.passwords import LONGEST, SHORTEST, check_password, normal_password, sign_in_name
from ledger.errors import Refused


@pytest.mark.parametrize("password", ["a" * 12, "x" * 128, "twelve chars", "ÄÖÜäöüßéèêñç", "          \t."])
def test_length_alone_counts(password: str) -> None:
    """Twelve to 128 characters of any kind are a password; no digit, sign or capital is asked for."""
    assert normal_password(password) == check_password(password, "Ann")


@pytest.mark.parametrize("password", ["", "eleven char", "x" * 129])
def test_other_lengths_are_refused_without_repeating_it(password: str) -> None:
    """A shorter or longer one is refused, and the message does not hold it."""
    with pytest.raises(Refused) as caught:
        check_password(password, "Ann")
    assert not password or password not in str(caught.value)


@pytest.mark.parametrize("password", ["Night shift one", "night  SHIFT one", " Night shift one "])
def test_the_name_itself_is_no_password(password: str) -> None:
    """The account's name is refused, however it is capitalised or spaced."""
    with pytest.raises(Refused, match="name of the account"):
        check_password(password, "Night Shift One")


def test_length_is_counted_after_normalising() -> None:
    """Twelve letters written as 24 code points are twelve; twelve ligatures may be more."""
    assert "é" * SHORTEST == check_password("e\u0301" * SHORTEST, "Ann")
    with pytest.raises(Refused):
        check_password("e\u0301" * (SHORTEST - 1), "Ann")
    with pytest.raises(Refused):
        check_password("ﬃ" * (LONGEST // 2), "Ann")


@given(st.text(max_size=40))
def test_normalising_twice_changes_nothing(text: str) -> None:
    """The forms that are hashed and compared are their own forms."""
    assert normal_password(text) == normal_password(normal_password(text))
    assert sign_in_name(sign_in_name(text)) == sign_in_name(text) or not text.isascii()


def test_names_are_compared_without_case_and_spacing() -> None:
    """A name typed in capitals, with more spaces or composed otherwise is the same name."""
    assert sign_in_name("Zoë  Müller ") == sign_in_name("ZOË MU\u0308LLER") != sign_in_name("Zoe Muller")
