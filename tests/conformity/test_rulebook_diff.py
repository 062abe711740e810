"""ledger.conformity.rulebook_diff: what differs between two editions, told whole and in words."""

from __future__ import annotations

import datetime as dt
from typing import Any

import msgspec
import pytest

from ledger.conformity.requirement import Method, Requirement, Scope
from ledger.conformity.rulebook import shipped_rulebooks
from ledger.conformity.rulebook_diff import differences
from tests.conformity.balls import HARDNESS, requirement, rulebook

CLASS = {"min_class_lb": "13", "class_basis": "weighed", "class_edge": "13 lb is in"}


def changed(one: Requirement, two: Requirement) -> list[str]:
    """The sorts of change between two rulebooks of one requirement each."""
    base = rulebook(HARDNESS)
    books = [msgspec.structs.replace(base, requirement=(each,)) for each in (one, two)]
    return [each.change for each in differences(*books)]


def test_an_edition_does_not_differ_from_itself() -> None:
    """The same rulebook has no differences."""
    for edition in shipped_rulebooks().values():
        assert () == differences(edition.rulebook, edition.rulebook)


@pytest.mark.parametrize(
    ("more", "change"),
    [
        ({"quantity": "roughness", "unit": "uin"}, ["quantity", "limit"]),
        ({"definition": "by_standard"}, ["quantity"]),
        ({"operator": ">"}, ["limit"]),
        ({"limits": ("74",)}, ["limit"]),
        ({"per": "lot_mean"}, ["per"]),
        ({"effect": "bar"}, ["effect"]),
        ({"clock": "event"}, ["clock"]),
        ({"effective_from": dt.date(2020, 1, 1)}, ["dates"]),
        ({"effective_to": dt.date(2020, 1, 1)}, ["dates"]),
        ({"decision": "guarded"}, ["decision"]),
        ({"provenance": "memory"}, ["provenance"]),
        ({"source": "another"}, ["source"]),
        ({"section": "7"}, ["source"]),
        ({"row": "PLANT-2"}, ["source"]),
        ({"note": "new"}, ["note"]),
    ],
)
def test_every_field_of_a_requirement_shows(more: dict[str, Any], change: list[str]) -> None:
    """A change of any field is told, by its sort."""
    assert change == changed(requirement(), requirement(**more))


def test_the_guard_band_of_a_guarded_rule_shows() -> None:
    """Another multiple of U is another decision rule."""
    one, two = (requirement(decision="guarded", guard_r=r) for r in ("1", "0.5"))
    assert ["decision"] == changed(one, two)


@pytest.mark.parametrize(
    "more",
    [
        {"min_class_lb": "14"}, {"min_class_strict": True}, {"max_class_lb": "16"}, {"class_basis": "nominal"},
        {"class_edge": "13.00 lb is in"}, {"core": "symmetric"}, {"core": "asymmetric"}, {"drilled": "drilled"},
        {"finish": "polished"}, {"kind": "house"}, {"max_class_lb": "16", "max_class_strict": True},
    ],
)  # fmt: skip
def test_every_field_of_a_scope_shows(more: dict[str, Any]) -> None:
    """A change of any condition of the scope is told."""
    one, two = (requirement(scope=Scope(**(CLASS | each))) for each in ({}, more))
    assert ["scope"] == changed(one, two)


def test_what_a_silent_model_is_taken_for_shows() -> None:
    """A kind that is left undecided is another scope than one that is taken for another."""
    one, two = (requirement(scope=Scope(kind="house", kind_unstated=word)) for word in ("undecided", "outside"))
    assert ["scope"] == changed(one, two)


@pytest.mark.parametrize(
    "more",
    [
        {"temperature_c": ("21", "25")}, {"delay_s": "1"}, {"readings": 5}, {"spacing_mm": "6"}, {"statistic": "mean"},
        {"statistic": "single"}, {"surface": "500 grit"}, {"standard": "five readings"},
    ],
)  # fmt: skip
def test_every_field_of_a_method_shows(more: dict[str, Any]) -> None:
    """A change of any condition of the method is told."""
    assert ["method"] == changed(requirement(), requirement(method=Method(**more)))


def test_the_hardness_change_reads_as_a_person_would_say_it() -> None:
    """From the edition of 2019 to that of 2023: 72 ends, 73 comes, with dates and provenance."""
    shipped = shipped_rulebooks()
    said = [each.sentence for each in differences(shipped["usbc-2019"].rulebook, shipped["usbc-2023"].rulebook)]
    assert (
        'usbc.hardness-earlier (hardness): dates changed, before "from the beginning until further notice", '
        'now "from the beginning to 2020-01-31"'
    ) in said
    (added,) = [sentence for sentence in said if sentence.startswith("usbc.hardness added")]
    assert "hardness >= 73 Shore D" in added
    assert "by date of manufacture from 2022-08-01" in added
    assert added.endswith("provenance read")


def test_added_and_removed_are_mirror_images() -> None:
    """What one direction adds, the other removes, in the same words."""
    shipped = shipped_rulebooks()
    one, two = shipped["usbc-2012"].rulebook, shipped["usbc-2026"].rulebook
    added = {each.requirement: each.after for each in differences(one, two) if each.change == "added"}
    removed = {each.requirement: each.before for each in differences(two, one) if each.change == "removed"}
    assert added == removed
    assert "usbc.hardness" in added


def test_a_changed_head_is_told_first() -> None:
    """Another title or another day of making is a difference of the whole."""
    base = rulebook(HARDNESS)
    other = msgspec.structs.replace(base, title="Other limits", made_event="pour", requirement=())
    assert [("head", ""), ("head", ""), ("removed", "hardness")] == [
        (each.change, each.requirement) for each in differences(base, other)
    ]
