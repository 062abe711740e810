"""The approval files of the invented plant: one carried through to its answer, one that waits, and a change to be told."""

from __future__ import annotations

import pytest

from fixtures_demo.approvals import DONE, SIGNERS, WAITING
from fixtures_demo.build import DemoBook
from ledger.application.approval_changes import due_changes
from ledger.application.approval_files import ApprovalView, approval_view, approvals_of
from ledger.application.approval_stored import seed_of, stored_candidates, stored_file
from ledger.application.pourbook import Pourbook
from ledger.evidence.approval_facts import APPROVAL_RECORDS, fold_approvals
from ledger.line.approval_draw import draw_order
from ledger.store.reader import open_reader


@pytest.fixture(scope="module")
def done(demo_book: Pourbook) -> ApprovalView:
    """The file that was answered."""
    with open_reader(demo_book.store) as reader:
        return approval_view(reader, DONE)


def test_both_files_are_in_the_book(demo_book: Pourbook) -> None:
    """The one that is worked on comes first."""
    with open_reader(demo_book.store) as reader:
        listed = approvals_of(reader)
    assert [(WAITING, "open", None), (DONE, "answered", "approved")] == [
        (one.file, one.state, one.answer) for one in listed
    ]


def test_the_answered_file_is_complete(done: ApprovalView) -> None:
    """Nothing was left open, two people signed who had not frozen it, and its dossier went out."""
    page = done.page
    (freeze,) = page.freezes
    assert ((), 5, 5) == (freeze.left_open, done.approval.met, done.approval.items)
    signers = [line.by for line in page.signatures]
    assert (len(SIGNERS), False) == (len(set(signers)), freeze.by in signers)
    assert [freeze.fact] == [line.freeze for line in page.hand_overs]
    assert [page.replies[0].entered] == [f"{page.replies[0].fact.partition('.')[0]}.0"]


def test_its_samples_follow_from_the_tree(demo_book: Pourbook, done: ApprovalView) -> None:
    """Five of eight prototypes, one replaced by the next of the order."""
    (line,) = done.page.announcements
    with open_reader(demo_book.store) as reader:
        assert line.seed == seed_of(reader, line.fact)
        units = [one.unit for one in stored_candidates(reader, line.candidates)]
        facts = [fact for fact in reader.facts_about(f"approval:{DONE}") if type(fact.record) in APPROVAL_RECORDS]
        assert stored_file(reader, DONE) == fold_approvals(facts)[DONE]
    order = draw_order(units, str(line.seed))
    assert (8, order[1:6]) == (len(units), [one.unit for one in done.page.samples if one.state == "in"])
    assert [(order[0], "chipped", order[5])] == [
        (one.unit, one.reason, one.instead) for one in done.page.samples if one.state == "replaced"
    ]


def test_the_waiting_file_says_what_is_missing(demo_book: Pourbook) -> None:
    """Three of five balls are measured, and the mark of the high axis is missing on three."""
    with open_reader(demo_book.store) as reader:
        view = approval_view(reader, WAITING)
    said = {item.item: item.missing for item in view.page.items}
    assert said["samples"][0].startswith("15 lb: 3 of 5 balls measured; pin to low-RG axis missing on ")
    assert said["high-axis-mark"][0].startswith("15 lb: 2 of 5 balls measured; high-RG axis mark missing on ")
    assert {"conforms"} == {ball.outcome for ball in view.balls}


def test_the_book_finds_the_change_of_plan_by_itself(demo_book: Pourbook, done: ApprovalView) -> None:
    """It is due to be entered by the duty, and to be told to the body."""
    with open_reader(demo_book.store) as reader:
        assert [(DONE, "plan", "HAYBARN")] == [(one.file, one.sort, one.subject) for one in due_changes(reader)]
    way = next(one for one in done.ways if one.step == "report-changes")
    assert (True, 1) == (way.may, len(way.to_know))


def test_which_balls_are_drawn_is_said_under_keys_of_their_own(demo: DemoBook) -> None:
    """The clerk has an account, and the plant's other entries name no drawn ball."""
    assert "approvals" in demo.tokens
