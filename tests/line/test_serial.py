"""Tests of ledger/line/serial.py."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from ledger.errors import MalformedInput, MalformedKey, MalformedSerial
from ledger.line.gs1 import format_link, parse_link
from ledger.line.serial import (
    ALPHABET,
    SERIAL_COUNT,
    OwnScheme,
    PatternScheme,
    SerialScheme,
    check_character,
    check_serial_text,
    counter_of,
    next_serials,
    parse_serial,
    serial_at,
)

KEY = b"a key for tests, and no other use"

counters = st.integers(0, SERIAL_COUNT - 1)
keys = st.binary(min_size=16, max_size=40)
serials = counters.map(lambda counter: serial_at(counter, KEY))


@given(counters, keys)
@example(0, KEY)
@example(SERIAL_COUNT - 1, KEY)
def test_a_serial_gives_its_counter_back(counter: int, key: bytes) -> None:
    """Allotting is a bijection: no two counters share a serial."""
    assert counter == counter_of(serial_at(counter, key), key)


@given(st.text(ALPHABET, min_size=8, max_size=8))
def test_every_usable_body_is_allotted_once(body: str) -> None:
    """Each body whose check character is in the alphabet is the serial of some counter, and no other body is."""
    check = check_character(body)
    if check in ALPHABET:
        assert body + check == serial_at(counter_of(body + check, KEY), KEY)
    else:
        with pytest.raises(MalformedSerial):
            counter_of(body + check, KEY)


def test_the_count_of_serials_is_that_of_the_usable_bodies() -> None:
    """The sum over the running remainders, counted another way, gives the same number."""
    table = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    remainders = {0: 1}
    for _ in range(8):
        after: dict[int, int] = {}
        for remainder, ways in remainders.items():
            for character in ALPHABET:
                key = (remainder + table.index(character)) * 2 % 37
                after[key] = after.get(key, 0) + ways
        remainders = after
    usable = {table.index(character) for character in ALPHABET}
    assert SERIAL_COUNT == sum(ways for remainder, ways in remainders.items() if (1 - remainder) % 37 in usable)


@given(serials, st.integers(0, 8), st.sampled_from(ALPHABET))
def test_every_single_changed_character_is_found(serial: str, place: int, other: str) -> None:
    """One character read as another of the alphabet never gives a serial."""
    changed = serial[:place] + other + serial[place + 1 :]
    if changed != serial:
        with pytest.raises(MalformedSerial):
            parse_serial(changed)


@given(serials, st.integers(0, 7))
def test_every_swap_of_neighbours_is_found(serial: str, place: int) -> None:
    """Two neighbouring characters that changed places never give a serial."""
    swapped = serial[:place] + serial[place + 1] + serial[place] + serial[place + 2 :]
    if swapped != serial:
        with pytest.raises(MalformedSerial):
            parse_serial(swapped)


@given(serials)
def test_a_typed_serial_may_be_spaced_hyphenated_and_lower_case(serial: str) -> None:
    """Typing habits do not change the number."""
    assert serial == parse_serial(f" {serial[:3].lower()}-{serial[3:6]} {serial[6:]}\r\n")


@given(st.text())
def test_any_typed_text_gives_a_serial_or_a_malformed_input(text: str) -> None:
    """No parser of serials lets another error out."""
    for parse in (parse_serial, PatternScheme("A99?").parse):
        try:
            serial = parse(text)
        except MalformedInput:
            continue
        check_serial_text(serial)


@given(st.text(max_size=25))
def test_a_serial_that_a_label_can_carry_needs_no_escape_of_slash_percent_plus(text: str) -> None:
    """What the check lets through reads back from an address, and holds none of the four."""
    try:
        check_serial_text(text)
    except MalformedSerial:
        return
    assert text == parse_link(format_link("a.example", "09520123456788", text)).serial
    assert not set(text) & set("/%+ ")


@pytest.mark.parametrize("letter", list("01BILOSUZ"))
def test_a_left_out_character_is_named_and_never_read_as_another(letter: str) -> None:
    """The refusal names the character and its place, and says to read again."""
    with pytest.raises(MalformedSerial) as refusal:
        parse_serial("23" + letter + "456789")
    assert (letter, "character 3") == (refusal.value.got, refusal.value.where)
    assert "read the number again" in refusal.value.mend


@pytest.mark.parametrize("typed", ["", "2345", "2" * 10, "\u01312345678A", "\uff123456789A", "2345\u20136789A"])
def test_a_text_of_another_alphabet_or_length_is_no_serial(typed: str) -> None:
    """Nothing outside ASCII is folded into the alphabet."""
    with pytest.raises(MalformedSerial):
        parse_serial(typed)


@pytest.mark.parametrize("counter", [-1, SERIAL_COUNT])
def test_a_counter_outside_the_scheme_has_no_serial(counter: int) -> None:
    """The scheme ends; it does not begin again."""
    with pytest.raises(MalformedSerial):
        serial_at(counter, KEY)


def test_a_short_key_is_refused_everywhere() -> None:
    """Under 16 bytes there is no allotting, and the key is not shown."""
    for attempt in (lambda: serial_at(0, b"short"), lambda: counter_of("x", b"short"), lambda: OwnScheme(b"short")):
        with pytest.raises(MalformedKey) as refusal:
            attempt()
        assert "short'" not in str(refusal.value)


def test_next_serials_follow_the_counter() -> None:
    """A run of serials is that of its counters, without a gap."""
    assert [serial_at(7, KEY), serial_at(8, KEY), serial_at(9, KEY)] == next_serials(KEY, 7, 3)


def test_another_key_gives_another_order() -> None:
    """The order cannot be told without the key."""
    assert set(next_serials(KEY, 0, 50)).isdisjoint(next_serials(KEY[::-1], 0, 50))


def test_an_allotted_serial_never_changes() -> None:
    """The permutation is frozen: these were computed once, and engraved numbers rest on it."""
    assert ["85MQV967H", "KQKECMPTT", "J64FH8PXD"] == next_serials(b"k" * 32, 0, 3)


def test_the_own_scheme_checks_the_stored_form_only() -> None:
    """A spaced serial is for parse; check wants what stands in the book."""
    scheme = OwnScheme(KEY)
    serial = serial_at(1, KEY)
    scheme.check(serial)
    assert serial == scheme.parse(serial.lower())
    with pytest.raises(MalformedSerial):
        scheme.check(serial.lower())


def test_a_scheme_does_not_show_its_key() -> None:
    """Neither name nor representation holds the secret."""
    assert "OwnScheme(name='own', may_repeat=False)" == repr(OwnScheme(KEY))


@pytest.mark.parametrize(
    ("pattern", "fits", "misfits"),
    [
        ("A9999999", "K0012345", "10012345"),
        (r"B\A99", "BA07", "BB07"),
        ("?-99", "Z-07", "ZZ07"),
        ("x.9", "x.1", "xx1"),
        (r"\99", "97", "87"),
    ],
)
def test_a_pattern_takes_what_fits_and_nothing_else(pattern: str, fits: str, misfits: str) -> None:
    """Classes and literals each count for one place."""
    scheme = PatternScheme(pattern)
    scheme.check(fits)
    with pytest.raises(MalformedSerial):
        scheme.check(misfits)


@pytest.mark.parametrize("tail", ["\n", " ", "9", ""])
def test_a_pattern_is_matched_whole(tail: str) -> None:
    """No more and no fewer characters than the pattern has."""
    with pytest.raises(MalformedSerial):
        PatternScheme("A99").check("A1" + tail if tail != "9" else "A119")


@pytest.mark.parametrize("pattern", ["", "BC", "A/9", "A 9", "A%9", "A+9", "9\n", "A\\", "9" * 21, "é9", r"\A"])
def test_a_pattern_that_no_label_can_carry_is_refused(pattern: str) -> None:
    """A scheme must have a class, fit twenty characters, and stay within what addresses carry."""
    with pytest.raises(MalformedSerial):
        PatternScheme(pattern)


def test_a_pattern_serial_is_upper_cased_only_where_needed() -> None:
    """A literal in lower case stays as the plant writes it."""
    assert "x7" == PatternScheme("x9").parse(" x7 ")
    assert "K7" == PatternScheme("A9").parse("k7")


def test_each_scheme_says_whether_its_numbers_may_repeat() -> None:
    """Own numbers are unique for ever; a plant's earlier ones may not be."""
    schemes: list[SerialScheme] = [OwnScheme(KEY), PatternScheme("A9")]
    assert [("own", False), ("pattern A9", True)] == [(scheme.name, scheme.may_repeat) for scheme in schemes]


@pytest.mark.parametrize("text", ["", "x" * 21, "a/b", "a%b", "a+b", "a b", "é", ".", ".."])
def test_what_a_label_cannot_carry_is_no_serial_of_any_scheme(text: str) -> None:
    """The four characters, the dot segments, and what is outside set 82 are refused."""
    with pytest.raises(MalformedSerial):
        check_serial_text(text)


def test_a_body_with_a_foreign_character_has_no_check_character() -> None:
    """The table has 36 characters; the star can only be a check character."""
    for body in ("a", "*", "é", "2 3"):
        with pytest.raises(MalformedSerial):
            check_character(body)
