"""ledger.conformity.checklist: strict files."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.checklist import parse_checklist, shipped_checklists
from ledger.errors import MalformedRulebook

HEAD = """format = 1
id = "ours"
body = "Plant"
title = "For a customer"
"""

BALLS = """
[[item]]
id = "samples"
text = "Two of each"
balls = 2
classes = [12, 15]
quantities = ["mass", "hardness"]
provenance = "read"
source = "customer's sheet"
"""

PAPERS = """
[[item]]
id = "papers"
text = "Sheet"
documents = ["data sheet"]
provenance = "read"
source = "customer's sheet"
"""


def test_what_ships_claims_no_number() -> None:
    """No number of samples and no weight class is made up, and nothing is called read."""
    for id, checklist in shipped_checklists().items():
        assert id == checklist.id
        assert {(None, ())} == {(item.balls, item.classes) for item in checklist.items}
        assert "read" not in {item.provenance for item in checklist.items}
        assert "not read" in checklist.note


@pytest.mark.parametrize(
    ("old", "new", "reason", "line"),
    [
        ("balls = 2", "balls = 0", ">= 1", 9),
        ("balls = 2", 'balls = "2"', "Expected `int", 9),
        ("[12, 15]", "[12, 12]", "stands twice", 10),
        ("[12, 15]", "[3]", ">= 4", 10),
        ('"mass", "hardness"', '"colour"', "quantity is unknown", 11),
        ('source = "customer\'s sheet"\n', "", "missing required field `source`", 6),
        ('source = "customer\'s sheet"', 'source = " "', "source is empty", 13),
        ('provenance = "read"', 'provenance = "hearsay"', "Invalid enum value", 12),
        ('provenance = "read"', 'provenance = "read"\ncolour = 1', "unknown field `colour`", 13),
        ('id = "samples"', 'id = "The samples"', "out of form", 7),
        ('"mass", "hardness"', '"mass", "component_density"', "no ball is measured", 11),
        ("balls = 2", "balls = 2\nballs_of = {16 = 3}", "a class that the item does not ask for: 16", 10),
        ("balls = 2", "balls = 2\nballs_of = {12 = 0}", ">= 1", 10),
        ("balls = 2", "balls = 2\neach_class = true", "names classes, and every class too", 10),
        ("balls = 2", 'balls = 2\nphotos = ["pin", "pin"]', "stands twice", 10),
        ("balls = 2", 'balls = 2\nphotos_of = "lot"', "Invalid enum value", 10),
        ("balls = 2", 'balls = 2\nfields = [" "]', "has no name", 10),
        ("balls = 2", f'balls = 2\nfields = ["{"x" * 81}"]', "has no name", 10),
        ("balls = 2", 'balls = 2\ncore = "round"', "Invalid enum value", 10),
        ('balls = 2\nclasses = [12, 15]\nquantities = ["mass", "hardness"]\n', "", "wants nothing", 7),
    ],
)
def test_a_broken_item_is_refused_with_its_line(old: str, new: str, reason: str, line: int) -> None:
    """Each breach is named with the line that holds it, or the item's first line."""
    assert old in BALLS
    with pytest.raises(MalformedRulebook, match=reason) as caught:
        parse_checklist(HEAD + BALLS.replace(old, new, 1), "ours.toml")
    assert f"ours.toml line {line}" == caught.value.where


@pytest.mark.parametrize(("points", "reason"), [("-1", ">= 0"), ("101", "<= 100"), ('"2"', "Expected `int")])
def test_proportions_are_compared_in_whole_points(points: str, reason: str) -> None:
    """From 0 to 100 of them; any other is refused at its line."""
    assert 3 == parse_checklist(HEAD + "proportion_points = 3\n" + PAPERS).proportion_points
    with pytest.raises(MalformedRulebook, match=reason) as caught:
        parse_checklist(f"{HEAD}proportion_points = {points}\n{PAPERS}", "f")
    assert "f line 5" == caught.value.where


def test_numbers_differ_by_class() -> None:
    """A class with a number of its own has that one, every other the common one; without either it is not known."""
    (item,) = parse_checklist(HEAD + BALLS.replace("balls = 2", "balls = 2\nballs_of = {15 = 5}")).items
    assert (2, 5, 2) == (item.wanted(12), item.wanted(15), item.wanted(None))
    (item,) = parse_checklist(HEAD + BALLS.replace("balls = 2", "balls_of = {15 = 5}")).items
    assert (None, 5) == (item.wanted(12), item.wanted(15))


def test_a_repeated_item_is_refused() -> None:
    """Two items of one name are refused at the second."""
    with pytest.raises(MalformedRulebook, match="used twice") as caught:
        parse_checklist(HEAD + PAPERS + PAPERS, "f")
    assert "f line 14" == caught.value.where


@given(st.one_of(st.binary(max_size=200), st.text(max_size=30).map(lambda text: HEAD + PAPERS + text)))
def test_any_bytes_give_a_checklist_or_our_error(text: bytes | str) -> None:
    """No bytes give any error but MalformedRulebook."""
    try:
        parsed = parse_checklist(text)
    except MalformedRulebook:
        return
    assert parsed.id == "ours"
