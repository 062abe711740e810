"""Tests of ledger/line/gs1.py."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import MalformedInput, MalformedLink
from ledger.line.gs1 import (
    CHARACTER_SET_82,
    Link,
    check_gtin14,
    format_link,
    gtin_check_digit,
    lot_link,
    pad_gtin,
    parse_link,
)

GTIN = "09520123456788"
STEM = "id.example.com"

gtins = st.text(string.digits, min_size=13, max_size=13).map(lambda body: body + gtin_check_digit(body))
values = st.text(sorted(CHARACTER_SET_82), min_size=1, max_size=20).filter(lambda value: value not in {".", ".."})
stems = st.sampled_from(
    [STEM, "https://a", "http://127.0.0.1:8000", "https://a.example/01/stem/21/", "http://[::1]:80"]
)


@given(stems, gtins, values, st.none() | values)
def test_a_formatted_ball_address_reads_back(stem: str, gtin14: str, serial: str, lot: str | None) -> None:
    """Whatever the stem, serial and lot, the address names exactly what it was made of."""
    assert Link(gtin14, serial, lot) == parse_link(format_link(stem, gtin14, serial, lot))


@given(stems, gtins, values)
def test_a_formatted_lot_address_reads_back(stem: str, gtin14: str, lot: str) -> None:
    """A lot address names the GTIN and the lot, and no serial."""
    assert Link(gtin14, None, lot) == parse_link(lot_link(stem, gtin14, lot))


@given(gtins, st.integers(0, 13), st.integers(1, 9))
def test_every_single_wrong_digit_of_a_gtin_is_found(gtin14: str, place: int, change: int) -> None:
    """The check digit detects each change of one digit."""
    wrong = str((int(gtin14[place]) + change) % 10)
    with pytest.raises(MalformedLink):
        check_gtin14(gtin14[:place] + wrong + gtin14[place + 1 :])


@given(st.text() | st.text().map(lambda tail: f"https://a/01/{GTIN}/21/" + tail))
def test_any_text_gives_a_link_or_a_malformed_input(text: str) -> None:
    """The parser lets no other error out."""
    try:
        link = parse_link(text)
    except MalformedInput:
        return
    assert 14 == len(link.gtin14)


def test_the_address_of_a_ball_has_the_stated_form() -> None:
    """A bare host becomes an https address with the serial as written."""
    assert f"https://{STEM}/01/{GTIN}/21/7QK4M2X9M" == format_link(STEM, GTIN, "7QK4M2X9M")


def test_the_address_of_a_lot_has_the_stated_form() -> None:
    """A lot takes the place of the serial, under its own identifier."""
    assert f"http://127.0.0.1:8000/01/{GTIN}/10/SL-104" == lot_link("http://127.0.0.1:8000/", GTIN, "SL-104")


@pytest.mark.parametrize(
    "stem",
    ["", "ftp://a", "HtTp://a", "a b", "user@a", "a?x=1", "a#f", "a:port", "https://", "a\n", "a/%zz", "é.example"],
)
def test_a_stem_that_is_no_host_is_refused(stem: str) -> None:
    """No address is made on something that is no host or web address."""
    with pytest.raises(MalformedLink):
        format_link(stem, GTIN, "1")


@pytest.mark.parametrize("value", ["", "x" * 21, "a b", "é", "a#b", "a\n", ".", ".."])
def test_a_value_that_no_address_can_carry_is_refused(value: str) -> None:
    """Empty, too long, outside set 82, or a dot segment: refused for serial and lot alike."""
    with pytest.raises(MalformedLink):
        format_link(STEM, GTIN, value)
    with pytest.raises(MalformedLink):
        format_link(STEM, GTIN, "1", value)
    with pytest.raises(MalformedLink):
        lot_link(STEM, GTIN, value)


@pytest.mark.parametrize(
    "rest",
    [
        "/21/1/10/2",
        "/21/1/21/2",
        "/10/1/22/2",
        "/21/",
        "/21/1/",
        "/21//1",
        "/21",
        "/21/%zz",
        "/21/%2",
        "/21/%C3%A9",
        "/21/a%20b",
        "/21/..",
        "/21/%2e%2E",
        "/235/1",
        "/21/1?17=",
        "/21/1?10=2",
        "/21/1?21=2",
        "/21/1?17=180426&17=180426",
        "/21/1?999=x",
        "/21/1?98=a+b",
        "/21/" + "9" * 2000,
        "/21/1\n",
        "/21/a b",
        "/21/\uff11",
    ],
)
def test_a_broken_address_is_refused(rest: str) -> None:
    """Each of these mutations of a right address is no address."""
    with pytest.raises(MalformedLink):
        parse_link(f"https://{STEM}/01/{GTIN}{rest}")


@pytest.mark.parametrize(
    "start", ["https://u@a", "https://a:x", "https:///x", "//a", "https:a", "https://[z]", "Https://a"]
)
def test_an_address_without_a_plain_web_host_is_refused(start: str) -> None:
    """User names, odd ports, no host and mixed-case schemes are refused."""
    with pytest.raises(MalformedLink):
        parse_link(f"{start}/01/{GTIN}/21/1")


@pytest.mark.parametrize("tail", ["?utm=x&utm=y", "?17=291231", "#frag", "?a", "?", "?17=291231&16=290101#x"])
def test_what_names_nothing_is_left_aside(tail: str) -> None:
    """Unknown query words, data attributes and the fragment do not change what is named."""
    assert Link(GTIN, "1") == parse_link(f"https://{STEM}/01/{GTIN}/21/1{tail}")


def test_a_serial_may_look_like_an_identifier() -> None:
    """Serial 01 under stem /01/ is read by place, not by looks."""
    assert Link(GTIN, "01", "21") == parse_link(f"https://a/01/x/01/{GTIN}/10/21/21/01")


@pytest.mark.parametrize("text", ["", "952", "9520123456788x", "9520123456787", "٩٥٢٠١٢٣٤٥٦٧٨٨", "009520123456788"])
def test_a_gtin_that_is_none_is_not_padded(text: str) -> None:
    """Length, digits and check digit are looked at before a GTIN is taken."""
    with pytest.raises(MalformedLink):
        pad_gtin(text)


def test_a_check_digit_is_made_of_digits_only() -> None:
    """A letter or nothing has no check digit."""
    for body in ("", "12a", "²"):
        with pytest.raises(MalformedLink):
            gtin_check_digit(body)
