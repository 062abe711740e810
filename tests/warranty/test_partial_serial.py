"""A number with places unread or worn: the true one is always among the candidates, and likelier ones come first."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import MalformedSerial
from ledger.line.serial import ALPHABET, SERIAL_COUNT, parse_serial, serial_at
from ledger.warranty.look_alikes import ALTERNATIVES, OFTEN
from ledger.warranty.partial_serial import PRIOR_ALPHABET, by_serial, chosen, guesses, parse_pattern

KEY = b"a key of the tests, and no other"
OWN = st.integers(0, SERIAL_COUNT - 1).map(lambda counter: serial_at(counter, KEY))
PRIOR = st.text(PRIOR_ALPHABET, min_size=4, max_size=10)
ENOUGH = 100_000


def hidden(serial: str, places: set[int]) -> str:
    """The number with places, from 0, that cannot be read."""
    return "".join("?" if place in places else character for place, character in enumerate(serial))


def worn(serial: str, place: int, other: str) -> str:
    """The number with one place read as another character."""
    return serial[:place] + other + serial[place + 1 :]


@given(OWN, st.sets(st.integers(0, 8), max_size=3))
def test_a_hidden_own_number_is_among_the_candidates_and_each_fits_the_check(serial: str, places: set[int]) -> None:
    """Whatever is hidden: the true number is there, at the top likelihood, and every own candidate is well formed."""
    ways = [guess for guess in guesses(parse_pattern(hidden(serial, places)), alike=False) if guess.scheme == "own"]
    found = by_serial(ways)

    assert serial in found
    assert max(guess.likelihood for guess in found.values()) == found[serial].likelihood == 1
    for candidate in list(found)[:200]:
        assert candidate == parse_serial(candidate)


@given(PRIOR, st.data())
def test_a_hidden_prior_number_is_among_the_candidates(serial: str, data: st.DataObject) -> None:
    """Two unread places of an earlier scheme leave the true number among the likeliest."""
    places = data.draw(st.sets(st.integers(0, len(serial) - 1), max_size=2))
    found = by_serial(chosen(guesses(parse_pattern(hidden(serial, places))), 20_000)[0])

    assert 1 == found[serial].likelihood
    assert "prior" == found[serial].scheme or len(serial) == 9


@given(st.one_of(OWN, PRIOR), st.data())
def test_one_worn_place_leaves_the_true_number_among_the_candidates(serial: str, data: st.DataObject) -> None:
    """One place read as its look-alike, and one more unread: the true number is there, and says which place."""
    can = [place for place, character in enumerate(serial) if character in ALTERNATIVES]
    if not can:
        return
    place = data.draw(st.sampled_from(can))
    other, factor = data.draw(st.sampled_from(ALTERNATIVES[serial[place]]))
    gone = data.draw(st.sets(st.sampled_from([n for n in range(len(serial)) if n != place]), max_size=1))
    found = by_serial(chosen(guesses(parse_pattern(hidden(worn(serial, place, other), gone))), 20_000)[0])

    guess = found[serial]
    assert guess.likelihood >= factor
    assert (place + 1,) == guess.alike or guess.likelihood > factor


@given(st.text([*PRIOR_ALPHABET, "?"], min_size=1, max_size=9).filter(lambda text: text.count("?") <= 2))
def test_the_ranking_is_monotone(typed: str) -> None:
    """More look-alikes never come before fewer, and among as many the likelier come first; no candidate comes twice."""
    ways = guesses(parse_pattern(typed))
    taken, left = chosen(ways, ENOUGH)
    ranks = [(len(guess.alike), -guess.likelihood) for guess in ways]

    assert sorted(ranks) == ranks
    assert len(ways) == len(taken) + len(left)
    assert sum(guess.size for guess in taken) <= ENOUGH
    assert all(len(guess.alike) == 2 or guess.size > ENOUGH // 2 for guess in left)
    for guess in ways:
        product = Fraction(1)
        for place in guess.alike:
            product *= dict(ALTERNATIVES[guess.read[place - 1]])[guess.places[place - 1]]
        assert product == guess.likelihood


@given(OWN, st.data())
def test_the_check_prunes(serial: str, data: st.DataObject) -> None:
    """With k unread places at most 27 to the power k - 1 own numbers fit, each once."""
    places = data.draw(st.sets(st.integers(0, 8), min_size=1, max_size=3))
    plain = next(guess for guess in guesses(parse_pattern(hidden(serial, places))) if guess.scheme == "own")
    fits = list(plain.serials())

    assert len(fits) == len(set(fits)) <= plain.size == len(ALPHABET) ** (len(places) - 1)


def test_a_three_worn_to_an_eight() -> None:
    """The own number with a 3 that reads as 8 is the likeliest way to mend the check."""
    serial = next(one for one in (serial_at(n, KEY) for n in range(100)) if "3" in one)
    place = serial.index("3")
    ways = by_serial(guess for guess in guesses(parse_pattern(worn(serial, place, "8"))) if guess.scheme == "own")

    assert (OFTEN, (place + 1,)) == (ways[serial].likelihood, ways[serial].alike)
    assert OFTEN == max(guess.likelihood for guess in ways.values())


def test_what_cannot_occur_in_the_own_scheme_must_be_a_look_alike() -> None:
    """A B read in an own number can only have been an 8 (or a 3); an own number of Bs is none of ours."""
    serial = next(one for one in (serial_at(n, KEY) for n in range(100)) if "8" in one)
    typed = worn(serial, serial.index("8"), "B")

    assert serial in by_serial(guess for guess in guesses(parse_pattern(typed)) if guess.scheme == "own")
    assert [] == [guess for guess in guesses(parse_pattern("BBBBBBBBB")) if guess.scheme == "own"]
    assert [] == [guess for guess in guesses(parse_pattern(typed), alike=False) if guess.scheme == "own"]


def test_an_own_number_is_read_in_any_form() -> None:
    """Hyphens, spaces and lower case are left aside for the own scheme; an earlier one keeps its hyphens."""
    serial = serial_at(7, KEY)
    typed = f" {serial[:3].lower()}-{serial[3:6]} -{serial[6:]}"
    found = by_serial(guesses(parse_pattern(typed), alike=False))

    assert "own" == found[serial].scheme
    assert f"{serial[:3]}-{serial[3:6]}-{serial[6:]}" in found


def test_a_question_mark_that_is_engraved() -> None:
    """A backslash takes a question mark as itself."""
    assert ("A", "?", "", "\\") == parse_pattern("A\\??\\").places


@pytest.mark.parametrize("typed", ["", "   ", "2" * 21])
def test_a_number_of_no_length_or_too_many_places_is_refused(typed: str) -> None:
    """It says how long a number may be, and what to write for a place that cannot be read."""
    with pytest.raises(MalformedSerial, match="1 to 20 places") as refusal:
        parse_pattern(typed)
    assert "?" in refusal.value.mend
