"""Facts about approval files said as they are: draws by the tree, answers by the checklist, files by what is stored."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import LedgerError, RuleStands, UnknownSubject
from ledger.line.approval_draw import draw_order
from tests.application.approved import (
    BALLS,
    announce,
    answered,
    approval_floor,
    desk,
    drawn_file,
    opened,
    samples,
    stored,
    view,
)
from tests.application.files import JPEG, PDF, SCRIPT, png
from tests.application.floor import Floor, at


def refused(floor: Floor, *records: dict[str, Any]) -> LedgerError:
    """The error that these are refused with."""
    with pytest.raises(LedgerError) as caught:
        floor.say(*records)
    return caught.value


def draw_of(floor: Floor, units: list[str], **fields: Any) -> dict[str, Any]:
    """A draw of AF-1's announcement, said by hand."""
    line = view(floor).page.announcements[0]
    said = {"kind": "approval-samples-drawn", "at": at(210), "file": "AF-1", "announcement": line.fact}
    size = int(line.fact.partition(".")[0]) + 1
    classes = [{"weight_class": 15, "units": units}]
    return {**said, "tree_size": size, "seed": "0" * 64, "classes": classes, **fields}


def test_a_draw_said_by_hand_is_the_one_of_the_tree_or_refused(ready: Floor) -> None:
    """Another seed, and with the right one other balls, or the right ones in another order."""
    ready.say(opened(approval_floor(ready)))
    announce(ready)
    wrong = refused(ready, draw_of(ready, ["U-1", "U-2", "U-3"]))
    assert (RuleStands, "records[0].seed") == (type(wrong), wrong.where)
    seed = str(wrong.expected)
    order = draw_order(BALLS, seed)
    for units in (order[1:4], [order[1], order[0], order[2]]):
        other = refused(ready, draw_of(ready, units, seed=seed))
        assert (RuleStands, "records[0].classes") == (type(other), other.where)
    ready.say(draw_of(ready, order[:3], seed=seed))
    assert order[:3] == samples(ready)


def test_nothing_is_drawn_before_its_announcement_stands(ready: Floor) -> None:
    """Said in one submission with it, or for a fact that announces nothing."""
    ready.say(opened(approval_floor(ready)))
    announce(ready)
    early = refused(ready, draw_of(ready, ["U-1"], announcement="999.0"))
    assert (UnknownSubject, "records[0].announcement") == (type(early), early.where)
    assert isinstance(refused(ready, draw_of(ready, ["U-1"], announcement="0.0")), UnknownSubject)


def test_a_replacement_said_by_hand_is_the_next_or_refused(ready: Floor) -> None:
    """Nobody picks it, and nobody passes over a ball unseen."""
    drawn_file(ready)
    order = draw_order(BALLS, str(view(ready).page.announcements[0].seed))
    said = {"kind": "approval-sample-replaced", "at": at(250), "file": "AF-1", "unit": order[0], "reason": "dropped"}
    picked = refused(ready, {**said, "instead": order[4]})
    assert (RuleStands, order[3], order[4]) == (type(picked), picked.expected, picked.got)
    skipped = [{"unit": order[4], "reason": "sold"}]
    assert isinstance(refused(ready, {**said, "instead": order[5], "passed_over": skipped}), RuleStands)
    ready.say({**said, "instead": order[4], "passed_over": [{"unit": order[3], "reason": "sold"}]})
    assert [order[1], order[2], order[4]] == samples(ready)


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"item": "fee", "statement": "paid"}, "item"),
        ({"item": "sheet", "documents": [{"name": "sheet", "digest": "PDF"}]}, "documents[0]"),
        ({"item": "sheet", "fields": [{"name": "core", "value": "x"}]}, "fields[0]"),
        ({"item": "photos", "statement": "x"}, "statement"),
        ({"item": "photos", "photos": [{"name": "box", "digest": "PNG"}]}, "photos[0]"),
        ({"item": "sheet", "documents": [{"name": "data sheet", "digest": "a" * 64}]}, "documents[0]"),
        ({"item": "photos", "photos": [{"name": "mark", "digest": "a" * 64}]}, "photos[0]"),
        ({"item": "photos", "photos": [{"name": "mark", "digest": "PDF"}]}, "photos[0]"),
        ({"item": "photos", "photos": [{"name": "mark", "digest": "SCRIPT"}]}, "photos[0]"),
    ],
)
def test_an_answer_that_the_checklist_does_not_ask_for_is_refused(
    ready: Floor, fields: dict[str, Any], where: str
) -> None:
    """An item or name that is none, a file that is not stored, and a photo that is no picture."""
    drawn_file(ready)
    digests = {"PDF": stored(ready, PDF), "PNG": stored(ready, png()), "SCRIPT": stored(ready, SCRIPT)}
    named: dict[str, Any] = {
        field: [{**one, "digest": digests.get(one["digest"], one["digest"])} for one in fields[field]]
        for field in ("documents", "photos")
        if field in fields
    }
    error = refused(ready, answered(**{**fields, **named}))
    assert f"records[0].{where}" == error.where
    assert error.mend


def test_pictures_and_papers_of_any_sort_are_taken(ready: Floor) -> None:
    """A photo is PNG or JPEG; a paper is any file that is stored."""
    drawn_file(ready)
    first, second = samples(ready)[:2]
    photos = [
        {"name": "mark", "digest": stored(ready, png()), "unit": first},
        {"name": "mark", "digest": stored(ready, JPEG), "unit": second},
    ]
    ready.say(answered("photos", photos=photos))
    ready.say(answered("sheet", documents=[{"name": "data sheet", "digest": stored(ready, b"core;1\n")}]))
    assert {"document", "photo"} == {line.sort for line in view(ready).page.parts}


def test_an_answer_may_be_said_beside_the_opening(ready: Floor) -> None:
    """The checklist is then that of the submission itself."""
    checklist = approval_floor(ready)
    ready.say(opened(checklist), answered("sheet", statement="recipe 7"))
    assert isinstance(
        refused(ready, opened(checklist, "AF-2"), answered("fee", file="AF-2", statement="x")), LedgerError
    )


def test_a_file_needs_the_file_of_its_checklist_here(ready: Floor) -> None:
    """One that was adopted by its digest alone opens nothing."""
    adopted = {"kind": "checklist-adopted", "at": at(190), "checklist": "elsewhere", "digest": "b" * 64}
    ready.say(adopted)
    error = refused(ready, opened("b" * 64))
    assert (UnknownSubject, "records[0].checklist") == (type(error), error.where)


def test_letters_and_lists_are_stored_before_they_are_named(ready: Floor) -> None:
    """The body's letter, one to the body, and a list of candidates."""
    drawn_file(ready)
    reply = {"kind": "approval-file-answered", "at": at(500), "file": "AF-1", "answer": "more-wanted"}
    assert "records[0].letter" == refused(ready, {**reply, "letter": "a" * 64}).where
    ready.say({**reply, "letter": stored(ready, PDF)})
    told = {"kind": "approval-change-reported", "at": at(500), "file": "AF-1", "changes": ["0.0"], "to": "Body A"}
    assert "records[0].letter" == refused(ready, {**told, "letter": "a" * 64}).where
    listed: dict[str, Any] = {
        "kind": "approval-samples-announced",
        "at": at(500),
        "file": "AF-1",
        "lots": ["SL-1"],
        "rule": "draw-1",
    }
    one = {"weight_class": 15, "balls": 1, "candidates": 1, "root": "a" * 64}
    listed |= {"states": ["engraved"], "candidates": "a" * 64, "classes": [one], "why": "more"}
    assert "records[0].candidates" == refused(ready, listed).where


def test_a_freeze_by_hand_names_a_stored_document(ready: Floor) -> None:
    """And every open item; the line then compares the document with what stands."""
    drawn_file(ready)
    said = {"kind": "approval-file-frozen", "at": at(500), "file": "AF-1", "document": "a" * 64}
    assert "records[0].left_open" == refused(ready, said).where
    left = {**said, "left_open": ["photos", "sheet"]}
    assert "records[0].document" == refused(ready, left).where
    other = refused(ready, {**left, "document": stored(ready, PDF)})
    assert (RuleStands, True) == (type(other), "says something else" in other.problem)
    desk(ready).freeze("AF-1", ("photos", "sheet"), "freeze", ready.lead).result(30)
