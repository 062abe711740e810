"""Approval files: opened on what the book knows, withdrawn and opened again; no fact of one is corrected."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, LedgerError, RuleStands, UnknownSubject
from ledger.line.approval_files import ApprovalFileReopened, ApprovalFileWithdrawn, classes_of
from ledger.line.approval_rows import ApprovalFile, ApprovalSignature
from ledger.line.checklists import ChecklistAdopted
from ledger.line.corrections import Change, Correction
from tests.line.approving import approval_plant, handed_plant, opened
from tests.line.independent_fold import check_views
from tests.line.making import at
from tests.line.plant import Plant


@pytest.fixture
def plant() -> Plant:
    """A plant with a checklist in force."""
    return approval_plant(balls=1)


def file_row(plant: Plant) -> ApprovalFile:
    """The row of AF-1."""
    row: ApprovalFile = plant.row(ApprovalFile, "AF-1")
    return row


def test_a_file_states_what_is_applied_for(plant: Plant) -> None:
    """Classes ascending, the state open, and who opened it."""
    plant.submit(opened(), author="a-john")
    row = file_row(plant)
    assert ((14, 15), "open", "a-john", None) == (classes_of(row), row.state, row.by, row.frozen)
    check_views(plant)


@pytest.mark.parametrize(
    ("fields", "refusal", "where"),
    [
        ({"model": "NOVA"}, UnknownSubject, "model"),
        ({"revision": 2}, RuleStands, "revision"),
        ({"classes": (15, 15)}, Contradiction, "classes"),
        ({"rulebook": "f" * 64}, UnknownSubject, "rulebook"),
        ({"checklist": "f" * 64}, UnknownSubject, "checklist"),
    ],
)
def test_a_file_on_what_the_book_does_not_know_is_refused(
    plant: Plant, fields: dict[str, Any], refusal: type[LedgerError], where: str
) -> None:
    """A model, revision, edition or checklist that is none; a class named twice."""
    refused = plant.refused(opened(**fields))
    assert (refusal, where) == (type(refused), refused.where)


def test_a_file_is_opened_once(plant: Plant) -> None:
    """A second one needs an id of its own."""
    plant.submit(opened())
    assert isinstance(plant.refused(opened()), Contradiction)
    plant.submit(opened("AF-2"))


def test_a_superseded_checklist_opens_no_file(plant: Plant) -> None:
    """The one in force does; an edition of a rulebook may be an earlier one."""
    plant.submit(ChecklistAdopted(at=at(3), checklist="ours", digest="9" * 64))
    assert (RuleStands, "checklist") == (type(refused := plant.refused(opened())), refused.where)
    plant.submit(opened(checklist="9" * 64))


def test_a_withdrawn_file_is_opened_again_only_with_a_reason() -> None:
    """What was frozen counts no more, and the signatures on it stay to be seen."""
    plant = handed_plant()
    plant.submit(ApprovalFileWithdrawn(at=at(30), file="AF-1", reason="model-dropped"))
    assert ("withdrawn", None) == (file_row(plant).state, file_row(plant).frozen)
    again = ApprovalFileWithdrawn(at=at(30), file="AF-1", reason="model-dropped")
    assert isinstance(plant.refused(again), Contradiction)
    plant.submit(ApprovalFileReopened(at=at(31), file="AF-1", reason="model-kept"))
    assert ("open", 1, 2) == (
        file_row(plant).state,
        file_row(plant).reopened,
        len(plant.tables.rows[ApprovalSignature]),
    )
    assert isinstance(plant.refused(ApprovalFileReopened(at=at(31), file="AF-1", reason="model-kept")), Contradiction)
    check_views(plant)


def test_no_fact_of_a_file_is_corrected() -> None:
    """Neither withdrawn nor replaced: the refusal says that the kind is not corrected."""
    plant = handed_plant()
    addresses = [fact.address for fact in plant.facts() if type(fact.record).__name__.startswith("Approval")]
    refused = {
        type(plant.refused(Correction(at=at(30), reason="typed-wrong", changes=(Change(fact=address),))))
        for address in addresses
        if plant.fact(address) is not None and "ApprovalEntered" != type(plant.fact(address).record).__name__  # type: ignore[union-attr]  # looked at
    }
    assert {Contradiction} == refused


@pytest.mark.parametrize("kind", [ApprovalFileWithdrawn, ApprovalFileReopened])
def test_a_file_that_is_none_is_neither_withdrawn_nor_opened_again(plant: Plant, kind: Any) -> None:
    """The refusal names the file."""
    refused = plant.refused(kind(at=at(30), file="AF-9", reason="typing"))
    assert (UnknownSubject, "file") == (type(refused), refused.where)
