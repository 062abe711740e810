"""Samples of an approval file: announced with every candidate, drawn by the announcement's entry, replaced in order."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.errors import Contradiction, LedgerError, RuleStands, UnknownSubject
from ledger.line.approval_draw import candidate_counts, candidate_list
from ledger.line.approval_rows import ApprovalAnnouncement, ApprovalSample
from ledger.line.approval_samples import ClassAnnounced, ClassDrawn, list_digest
from ledger.line.consignees import ConsigneeRegistered
from ledger.line.models import ModelDefined
from ledger.line.releases import Regrade, Scrap
from ledger.line.shipments import Shipment
from tests.line.approving import announced, approval_plant, candidates, draw, drawn, frozen_plant, opened, replaced
from tests.line.independent_fold import check_views
from tests.line.making import at, engrave, released_ball, shells
from tests.line.plant import Plant


@pytest.fixture
def plant() -> Plant:
    """A plant with eight balls of 15 lb, and AF-1 open."""
    made = approval_plant()
    made.submit(opened())
    return made


def samples(plant: Plant) -> dict[str, tuple[int, str]]:
    """Place in the draw and state of each ball of AF-1."""
    return {row.unit: (row.place, row.state) for row in plant.tables.where(ApprovalSample, "file", "AF-1")}


def test_a_draw_gives_what_was_announced(plant: Plant) -> None:
    """Three balls of 15 lb, in the order of the draw; the announcement names the draw and its seed."""
    answer = draw(plant)
    (row,) = plant.tables.rows[ApprovalAnnouncement].values()
    assert [(place, "in") for place in range(3)] == sorted(samples(plant).values())
    assert (answer.address, 64) == (row.drawn, len(row.seed))  # type: ignore[attr-defined]  # its rows
    check_views(plant)


def test_all_candidates_of_the_index_are_stated(plant: Plant) -> None:
    """What was looked up before a ball was engraved, scrapped or sent is refused, with what is right now."""
    early = announced(plant)
    engrave(plant, "U-9", place=9)
    refusal = plant.refused(early)
    assert (RuleStands, "classes[0]", True) == (type(refusal), refusal.where, "9 balls" in str(refusal.expected))
    early = announced(plant)
    plant.submit(Scrap(at=at(20), unit="U-1", how="scrap", reason="chipped"))
    assert "8 balls" in str(plant.refused(early).expected)
    early = announced(plant)
    plant.submit(ConsigneeRegistered(at=at(8), consignee="SHOP", name="Shop", market="north"))
    plant.submit(Shipment(at=at(20), shipment="SH-1", units=("U-2",), to="SHOP", purpose="sample"))
    assert "7 balls" in str(plant.refused(early).expected)
    plant.submit(announced(plant))
    check_views(plant)


@pytest.mark.parametrize(
    ("fields", "refusal", "where"),
    [
        ({"lots": ("SL-9",)}, UnknownSubject, "lots[0]"),
        ({"lots": ("CL-1",)}, Contradiction, "lots[0]"),
        ({"lots": ("SL-1", "SL-1")}, Contradiction, "lots"),
        ({"states": ("engraved", "engraved")}, Contradiction, "states"),
        ({"grades": ("first", "first")}, Contradiction, "grades"),
        ({"balls": 9}, RuleStands, "classes[0].balls"),
        ({"candidates": "f" * 64}, RuleStands, "candidates"),
        ({"file": "AF-9"}, UnknownSubject, "file"),
    ],
)
def test_an_announcement_that_cannot_be_is_refused(
    plant: Plant, fields: dict[str, Any], refusal: type[LedgerError], where: str
) -> None:
    """Lots that are not there, of another stage or named twice; more balls than there are; another list."""
    refused = plant.refused(announced(plant, **fields))
    assert (refusal, where) == (type(refused), refused.where)


@pytest.mark.parametrize(
    "change",
    [{"candidates": 7}, {"root": "0" * 64}, {"weight_class": 16}, {"weight_class": 14}],
)
def test_a_class_with_other_figures_is_refused(plant: Plant, change: dict[str, Any]) -> None:
    """Another count or root, a class that the file does not apply for, and one of which there is no ball."""
    said = announced(plant)
    one = msgspec.structs.replace(said.classes[0], **change)
    assert plant.refused(msgspec.structs.replace(said, classes=(one,))).where.startswith("classes[0]")


def test_a_class_is_announced_once(plant: Plant) -> None:
    """The second of two is refused."""
    said = announced(plant)
    refused = plant.refused(msgspec.structs.replace(said, classes=said.classes * 2))
    assert "classes[1].weight_class" == refused.where


def test_a_lot_of_another_revision_gives_no_candidates(plant: Plant) -> None:
    """A file is about one revision; shells of the next are refused by name."""
    (defined,) = [fact.record for fact in plant.facts() if isinstance(fact.record, ModelDefined)]
    plant.submit(msgspec.structs.replace(defined, at=at(20), revision=2))
    plant.submit(shells("SL-2", ("CL-1", 1), revision=2, at=at(20, "09:00"), began_at=at(20, "08:50")))
    refused = plant.refused(announced(plant, lots=("SL-1", "SL-2")))
    assert ("lots[1]", "ORBIT revision 2") == (refused.where, refused.got)


def test_an_announcement_is_drawn_before_the_next(plant: Plant) -> None:
    """So that no draw is left aside; and a later announcement says why."""
    found = candidates(plant)
    first = plant.submit(announced(plant)).address
    waiting = plant.refused(announced(plant, why="heavier-wanted"))
    assert (RuleStands, True) == (type(waiting), first in waiting.problem)
    plant.submit(drawn(plant, first, found))
    assert "why" == plant.refused(announced(plant, balls=2)).where
    draw(plant, balls=2, why="heavier-wanted")
    assert 5 == len(samples(plant))
    check_views(plant)


def test_balls_of_other_grades_are_no_candidates(plant: Plant) -> None:
    """Of those that were released; a ball without a grade yet is one."""
    released_ball(plant, "U-9")
    plant.submit(Regrade(at=at(20), unit="U-9", grade="second", reason="blemish"))
    assert 9 == len(candidates(plant))
    assert 8 == len(candidates(plant, grades=("first", "prototype")))
    plant.submit(announced(plant, grades=("first",)))
    check_views(plant)


def test_what_was_drawn_is_no_candidate_again(plant: Plant) -> None:
    """A later announcement draws out of the others."""
    draw(plant)
    assert not {one.unit for one in candidates(plant)} & set(samples(plant))
    assert 5 == len(candidates(plant))


def test_a_draw_that_is_none_is_refused(plant: Plant) -> None:
    """Of no announcement, of another tree, of another count, of one ball twice, and a second time."""
    found = candidates(plant)
    address = plant.submit(announced(plant)).address
    good = drawn(plant, address, found)
    units = good.classes[0].units
    wrong: list[tuple[dict[str, Any], str]] = [
        ({"announcement": "3.0"}, "announcement"),
        ({"tree_size": good.tree_size + 1}, "tree_size"),
        ({"classes": (ClassDrawn(weight_class=15, units=units[:2]),)}, "classes"),
        ({"classes": (ClassDrawn(weight_class=15, units=(*units[:2], units[0])),)}, "classes"),
        ({"classes": (*good.classes, *good.classes)}, "classes"),
    ]
    for change, where in wrong:
        assert where == plant.refused(msgspec.structs.replace(good, **change)).where
    plant.submit(good)
    assert isinstance(plant.refused(good), Contradiction)


def test_a_replaced_sample_stays_to_be_seen(plant: Plant) -> None:
    """With its reason; the ball in its place goes on with the order, after those that were passed over."""
    draw(plant)
    first = next(unit for unit, (place, _) in samples(plant).items() if place == 0)
    plant.submit(said := replaced(plant, first))
    assert {first: (0, "replaced"), said.instead: (3, "in")}.items() <= samples(plant).items()
    second = next(unit for unit, (place, _) in samples(plant).items() if place == 1)
    coming = replaced(plant, second).instead
    plant.submit(later := replaced(plant, second, coming))
    assert {coming: (4, "passed-over"), later.instead: (5, "in")}.items() <= samples(plant).items()
    assert sorted(place for place, _ in samples(plant).values()) == list(range(6))
    check_views(plant)


def test_only_a_sample_is_replaced_and_only_by_a_new_ball(plant: Plant) -> None:
    """A ball that was never drawn or is replaced already; one that the file has by another place."""
    draw(plant)
    inside = list(samples(plant))
    outside = next(one.unit for one in candidates(plant))
    good = replaced(plant, inside[0])
    assert "unit" == plant.refused(msgspec.structs.replace(good, unit=outside)).where
    assert "instead" == plant.refused(msgspec.structs.replace(good, instead=inside[1])).where
    plant.submit(good)
    assert isinstance(plant.refused(msgspec.structs.replace(good, instead=outside)), LedgerError)


def test_a_frozen_file_takes_no_samples() -> None:
    """The refusal names the freeze, and how the file is opened again."""
    plant = frozen_plant()
    refused = plant.refused(announced(plant, why="more-wanted"))
    assert (RuleStands, True) == (type(refused), "is frozen by fact" in refused.problem)
    assert "approval-file-reopened" in refused.mend


def test_an_announcement_takes_every_class_of_the_file() -> None:
    """Each with its own count, root and balls."""
    plant = approval_plant()
    plant.submit(opened())
    engrave(plant, "U-20", weight_class=14)
    found = candidates(plant)
    said = announced(plant)
    by_class: dict[int, Any] = {one.weight_class: one for one in said.classes}
    counts = candidate_counts(found)
    by_class[14] = ClassAnnounced(weight_class=14, balls=1, candidates=counts[14].balls, root=counts[14].root)
    address = plant.submit(
        msgspec.structs.replace(
            said, classes=(by_class[14], by_class[15]), candidates=list_digest(candidate_list(found))
        )
    ).address
    plant.submit(drawn(plant, address, found))
    assert {"U-20": (0, "in")}.items() <= samples(plant).items()
    check_views(plant)
