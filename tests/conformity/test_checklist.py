"""ledger.conformity.checklist: strict files, and what is missing for a submission."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.conformity.checklist import SampleBall, open_items, parse_checklist, shipped_checklists
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


def sample(name: str, weight_class: int, *quantities: str) -> SampleBall:
    """A sample ball with measured quantities."""
    return SampleBall(ball=name, weight_class=weight_class, quantities=frozenset(quantities))


def test_what_is_missing_is_said_item_by_item() -> None:
    """Too few balls of a class, a quantity not measured and a paper not there are each a sentence."""
    checklist = parse_checklist(HEAD + BALLS + PAPERS)
    samples = [sample("A", 12, "mass", "hardness"), sample("B", 12, "mass"), sample("C", 15, "mass", "hardness")]
    missing = {one.item: one.missing for one in open_items(checklist, samples)}
    assert {
        "samples": ("ball B of 12 lb: hardness is not measured", "balls of 15 lb: 2 wanted, 1 there"),
        "papers": ("data sheet is missing",),
    } == missing


def test_nothing_is_open_when_everything_is_there() -> None:
    """More than is wanted is no harm, measured or not."""
    checklist = parse_checklist(HEAD + BALLS + PAPERS)
    samples = [sample(f"{pounds}-{n}", pounds, "mass", "hardness") for pounds in (12, 15) for n in (1, 2)]
    assert () == open_items(checklist, [*samples, sample("spare", 15)], ["data sheet"])


def test_a_number_that_nobody_stated_stays_open() -> None:
    """A checklist without numbers is never met: the plant has to write them in (rules row APP-SUBMIT-N)."""
    shipped = shipped_checklists()["usbc-submission"]
    (samples,) = (item for item in shipped.items if item.id == "samples")
    everything = [sample("A", 15, *samples.quantities)]
    (found,) = (one for one in open_items(shipped, everything) if one.item == "samples")
    assert ["how many balls are wanted is not stated"] == [said.split(":")[0] for said in found.missing]


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
        ('balls = 2\nclasses = [12, 15]\nquantities = ["mass", "hardness"]\n', "", "wants nothing", 7),
    ],
)
def test_a_broken_item_is_refused_with_its_line(old: str, new: str, reason: str, line: int) -> None:
    """Each breach is named with the line that holds it, or the item's first line."""
    assert old in BALLS
    with pytest.raises(MalformedRulebook, match=reason) as caught:
        parse_checklist(HEAD + BALLS.replace(old, new, 1), "ours.toml")
    assert f"ours.toml line {line}" == caught.value.where


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
