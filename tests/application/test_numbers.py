"""A number as typed leads to every ball that bears or bore it."""

from __future__ import annotations

import pytest

from tests.application.floor import Floor, at, engraved


def engraved_anew(unit: str, serial: str, hours: float, scheme: str = "prior") -> dict[str, str]:
    """Another number in the place of the first."""
    return {
        "kind": "ball-engraved-anew", "at": at(hours), "unit": unit, "serial": serial, "station": "E-1",
        "reason": "cut-badly", "scheme": scheme,
    }  # fmt: skip


@pytest.fixture
def own(ready: Floor) -> str:
    """A number of the own scheme on ball U-1."""
    (serial,) = ready.book.allot_serials("E-1", 1, "allot", ready.lead).serials
    ready.say(engraved("U-1", serial, scheme="own"))
    return serial


def test_own_numbers_are_found_however_they_are_typed(ready: Floor, own: str) -> None:
    """Hyphens, spaces and lower case make no difference to a number of the own scheme."""
    forms = [own, own.lower(), f" {own} ", f"{own[:3]}-{own[3:6]}-{own[6:]}", f"{own[:4]} {own[4:]}".lower()]
    assert [["U-1"]] * 5 == [[found.unit for found in ready.book.find(form)] for form in forms]


def test_an_own_number_with_one_wrong_character_finds_nothing(ready: Floor, own: str) -> None:
    """The check character does not let a mistyped number pass for another."""
    wrong = ("2" if own[0] != "2" else "3") + own[1:]
    assert () == ready.book.find(wrong)


def test_a_found_ball_tells_what_distinguishes_it(ready: Floor, own: str) -> None:
    """Model, class, day, state and whether it bears the number now go with each ball found."""
    (found,) = ready.book.find(own)
    assert ("U-1", own, "M1", 15, "2026-09-24", "engraved", True) == (
        found.unit, found.serial, found.model, found.weight_class_lb, found.made_on, found.state, found.bears_it_now,
    )  # fmt: skip


def test_a_repeated_prior_number_finds_every_ball(ready: Floor) -> None:
    """A number that an earlier scheme gave twice finds both balls, the older first."""
    ready.say(engraved("U-1", "P-1", 80), engraved("U-2", "P-1", 75))
    assert ["U-2", "U-1"] == [found.unit for found in ready.book.find("P-1")]


def test_a_former_number_finds_the_ball_and_says_so(ready: Floor) -> None:
    """A number that was engraved over leads to the ball, which bears another now."""
    ready.say(engraved("U-1", "P-1"))
    ready.say(engraved_anew("U-1", "P-2", 80))
    assert [("U-1", "P-2", False)] == [
        (found.unit, found.serial, found.bears_it_now) for found in ready.book.find("P-1")
    ]
    assert [True] == [found.bears_it_now for found in ready.book.find("P-2")]


def test_a_ball_that_bears_a_number_again_is_found_once(ready: Floor) -> None:
    """A ball that got its first number back is one ball, and bears it now."""
    ready.say(engraved("U-1", "P-1"))
    ready.say(engraved_anew("U-1", "P-2", 80), engraved_anew("U-1", "P-1", 81))
    assert [("U-1", True)] == [(found.unit, found.bears_it_now) for found in ready.book.find("P-1")]


def test_a_prior_number_that_looks_like_ours_is_found(ready: Floor, own: str) -> None:
    """A prior number with hyphens that would be one of ours without them leads to its own ball, and to ours."""
    spelled = f"{own[:3]}-{own[3:]}"
    ready.say(engraved("U-2", spelled, 75))
    assert ["U-1", "U-2"] == [found.unit for found in ready.book.find(spelled)]
    assert ["U-1"] == [found.unit for found in ready.book.find(own)]


def test_an_unknown_number_finds_nothing(ready: Floor) -> None:
    """A number that no ball bears finds no ball."""
    assert () == ready.book.find("P-404")
