"""Approval files as a person sees them: live completeness, verdicts beside it, the list, and what others have seen."""

from __future__ import annotations

import pytest

from ledger.application.approval_files import approvals_of
from ledger.application.approval_stored import sample_balls, stored_file
from ledger.application.files_check import FilesReport, check_files
from ledger.errors import NotFound, StoreDamaged
from ledger.evidence.approval_facts import APPROVAL_RECORDS, fold_approvals
from ledger.store.published import Published, TimeToken, put_published, put_time_token
from ledger.store.reader import open_reader
from tests.application.approved import (
    LIST,
    announce,
    answer_all,
    approval_floor,
    desk,
    drawn_file,
    handed_file,
    opened,
    samples,
    view,
)
from tests.application.floor import START_MS, Floor, at, calibrated, inspected, plan


def test_what_is_missing_is_said_live(ready: Floor) -> None:
    """Balls, readings, photos and papers as they come; an item of another core does not apply."""
    checklist = approval_floor(ready)
    ready.say(opened(checklist))
    assert "0 of 3 items met; 15 lb: 0 of 3 balls drawn" == view(ready).approval.said
    announce(ready)
    desk(ready).draw("AF-1", "draw", ready.lead).result(30)
    seen = view(ready)
    assert (1, 3, 3) == (seen.approval.met, seen.approval.items, seen.approval.samples)
    names = samples(ready)
    sheet = ("data sheet is missing", "coverstock is not stated", "the recipe is not stated")
    assert [(), (), (f"photo mark missing of {names[0]}, {names[1]} and {names[2]}",), sheet] == [
        item.missing for item in seen.page.items
    ]
    assert [True, False, True, True] == [item.applies for item in seen.page.items]
    answer_all(ready)
    assert "3 of 3 items met" == view(ready).approval.said


def test_a_reading_that_may_not_be_used_is_missing_again(ready: Floor) -> None:
    """A calibration that found the gauge bad takes the readings away, and the sentence says which."""
    drawn_file(ready)
    ready.say(calibrated("hardness", 300, as_found_good=False))
    (line,) = (item for item in view(ready).page.items if item.item == "samples")
    assert (3, 0) == (line.counts[0].drawn, line.counts[0].measured)
    assert line.missing[0].startswith("15 lb: 0 of 3 balls measured; hardness not usable on ")


def test_samples_are_judged_by_the_edition_of_the_file(ready: Floor) -> None:
    """Each with its outcome now; the verdict is the maker's own, and the caution says so."""
    drawn_file(ready)
    seen = view(ready)
    assert (["conforms"] * 3, "usbc-2026") == ([ball.outcome for ball in seen.balls], seen.rulebook)
    ready.say(inspected(samples(ready)[0], 300, hardness="60"))
    assert "does_not_conform" in {ball.outcome for ball in view(ready).balls}
    assert "approval rests with the governing body" in seen.caution


def test_the_list_has_those_worked_on_first(ready: Floor) -> None:
    """A withdrawn file comes last; other files of the model are named with each."""
    checklist = drawn_file(ready)
    ready.say(opened(checklist, "AF-0", at=at(190)))
    ready.say({"kind": "approval-file-withdrawn", "at": at(200), "file": "AF-0", "reason": "wrong-body"})
    with open_reader(ready.book.store) as reader:
        listed = approvals_of(reader)
    assert [("AF-1", "open", 1, 1), ("AF-0", "withdrawn", 0, 0)] == [
        (one.file, one.state, one.draws, one.drawn) for one in listed
    ]
    assert ["AF-0"] == [one.file for one in view(ready).others]
    assert "Model M1" == listed[0].model_name


def test_an_empty_plant_has_an_empty_list(ready: Floor) -> None:
    """And a file that is none is not found."""
    with open_reader(ready.book.store) as reader:
        assert () == approvals_of(reader)
    with pytest.raises(NotFound):
        view(ready)


def test_the_page_is_the_same_from_views_and_from_facts(ready: Floor) -> None:
    """The rows folded anew from the facts of the file, as a dossier holds them, are those of the store."""
    handed_file(ready)
    ready.say({"kind": "approval-file-answered", "at": at(500), "file": "AF-1", "answer": "more-wanted"})
    with open_reader(ready.book.store) as reader:
        rows = stored_file(reader, "AF-1")
        facts = [fact for fact in reader.facts_about("approval:AF-1") if type(fact.record) in APPROVAL_RECORDS]
        assert rows == fold_approvals(facts)["AF-1"]
        assert set(sample_balls(reader, samples(ready))) == set(samples(ready))


def test_how_soon_others_saw_an_announcement_is_told(ready: Floor) -> None:
    """The first published checkpoint that covers it, and the earliest time token over one."""
    ready.say(opened(approval_floor(ready)))
    index = announce(ready).index
    store = ready.book.store
    for size, at_ms in ((index, START_MS), (index + 1, START_MS + 5_000), (index + 2, START_MS + 9_000)):
        put_published(store, Published(size, b"note", at_ms))
    put_time_token(store, TimeToken(index + 2, "tsa", b"token", START_MS + 7_000, START_MS + 9_500))
    (seen,) = view(ready).draws
    assert (index + 1, at(5 / 3600), at(7 / 3600)) == (seen.published_size, seen.published_at, seen.stamped_at)


def test_each_step_says_what_stands_in_its_way(ready: Floor) -> None:
    """From the opening to the answer; what stays open is told to whoever freezes."""
    ready.say(opened(approval_floor(ready)))
    ways = {one.step: one for one in view(ready).ways}
    assert (True, False, True, False) == tuple(ways[step].may for step in ("announce", "draw", "freeze", "sign"))
    assert "left open: samples: 15 lb: 0 of 3 balls drawn" in ways["freeze"].to_know
    announce(ready)
    ways = {one.step: one for one in view(ready).ways}
    assert (False, True) == (ways["announce"].may, ways["draw"].may)
    assert "an announcement is not drawn yet, and stays on the file" in ways["freeze"].to_know


def test_a_file_that_is_out_waits_for_its_answer(ready: Floor) -> None:
    """It may go out again, and be answered; nothing more goes into it."""
    handed_file(ready)
    ways = {one.step: one for one in view(ready).ways}
    assert {"hand-over", "answer"} == {step for step, one in ways.items() if one.may}
    assert ("2 of 2 people have signed",) == ways["hand-over"].to_know
    ready.say(plan("M1", at=at(450)))
    due = {one.step: one for one in view(ready).ways}["report-changes"]
    assert (True, True) == (due.may, due.to_know[0].startswith("the process plan was set anew"))


def test_a_checklist_says_where_its_items_come_from(ready: Floor) -> None:
    """Provenance and source of each stand in the view, as they do in the file."""
    drawn_file(ready)
    assert LIST.count(b'provenance = "read"') == sum(item.provenance == "read" for item in view(ready).checklist.items)


def test_a_missing_paper_is_found_by_the_check_of_the_files(ready: Floor) -> None:
    """Lists, papers and documents of approval files are looked for like those of claims."""
    handed_file(ready)
    assert FilesReport(named=4, erased=0) == check_files(ready.book.store)
    listed = view(ready).page.announcements[0]
    with ready.book.store.writing() as transaction:
        transaction.run('DELETE FROM "blob" WHERE "digest" = ?', (listed.candidates,))
    with pytest.raises(StoreDamaged, match=f"fact {listed.fact} names is missing"):
        check_files(ready.book.store)
