"""What the desk asks next, so that of the balls that fit one is left."""

from __future__ import annotations

import pytest

from api.pages.desk.finding import Sought, asked_of, characters, of_colour, questions
from ledger.application.candidate_balls import BallCandidate, PlaceTaken
from ledger.errors import MalformedInput


def ball(serial: str, weight: int, *colours: str, made_on: str = "2026-08-11", **fields: str) -> BallCandidate:
    """A ball that fits."""
    return BallCandidate(
        unit=f"U-{serial}", serial=serial, how="fits what was read", state="shipped", made_on=made_on, own_scheme=True,
        weight_class_lb=weight, colours=colours, model=fields.get("model", "M1"),
    )  # fmt: skip


FOUND = [ball("AA1", 14, "Moss"), ball("AB1", 15, "Moss", "Barley"), ball("AC1", 15, "Slate", "Barley")]


def test_what_leaves_the_fewest_balls_is_asked_first() -> None:
    """Three colours tell three balls apart; the weight leaves two together; one model for all is not asked."""
    asked = questions(FOUND, Sought(q="A?1"))
    assert ["colour", "place"] == [one.what for one in asked]
    assert [1, 1, 1] == [choice.balls for choice in asked[0].choices]


def test_an_answer_narrows_what_is_sought() -> None:
    """A read place goes into the number, a weight beside it."""
    [place] = [one for one in questions(FOUND, Sought(q="A?1")) if one.what == "place"]
    assert (2, "/desk?q=AB1") == (place.place, place.choices[1].address)
    heavy = [ball("AA1", 14), ball("AA2", 15)]
    [weight] = questions(heavy, Sought(q="AA*"))
    assert ["/desk?q=AA%2A&weight=14", "/desk?q=AA%2A&weight=15"] == [one.address for one in weight.choices]


def test_nothing_is_asked_where_nothing_tells() -> None:
    """Of one ball, and of balls that are alike in all that an owner can see."""
    assert [] == questions(FOUND[:1], Sought(q="A?1"))
    assert [] == questions([ball("AA1", 14, "Moss")] * 2, Sought(q="AA1"))


def test_one_field_takes_every_way_to_know_a_number() -> None:
    """Unread places, a beginning, a range, a label's address."""
    assert "7Q?4" == asked_of(Sought(q=" 7Q?4 ")).serial
    assert ("P0", "") == (asked_of(Sought(q="P0*")).prefix, asked_of(Sought(q="P0*")).serial)
    assert ("P1", "P9") == (asked_of(Sought(q="P1 .. P9")).first, asked_of(Sought(q="P1 .. P9")).last)
    label = "https://id.example.com/01/09521234543213/21/P1..2"
    assert label == asked_of(Sought(q=label)).serial
    with pytest.raises(MalformedInput, match="whole number"):
        asked_of(Sought(q="P1", weight="heavy"))


def test_a_number_shows_where_it_was_not_read() -> None:
    """An unread place and a look-alike are told apart from what was read."""
    differs = (PlaceTaken(place=1, read="", bears="A"), PlaceTaken(place=3, read="8", bears="B"))
    found = BallCandidate(
        unit="U",
        serial="AXB",
        how="by look-alike",
        state="shipped",
        made_on="2026-08-11",
        own_scheme=True,
        differs=differs,
    )
    assert [("A", "unread"), ("X", ""), ("B", "alike")] == [tuple(one) for one in characters(found)]


def test_a_colour_is_a_word_of_any_of_them() -> None:
    """Typed in any case; none leaves all."""
    assert ["AB1", "AC1"] == [one.serial for one in of_colour(FOUND, "barLEY ")]
    assert 3 == len(of_colour(FOUND, ""))
