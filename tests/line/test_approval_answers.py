"""The approval that a file names as its answer keeps from being corrected away, until something else was answered."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import RuleStands
from ledger.line.approval_answers import answers_otherwise
from ledger.line.models import ApprovalEntered
from ledger.line.record import Record
from ledger.line.rows import Approval
from ledger.line.uses import takes_away
from tests.line.approving import answered, handed_plant
from tests.line.independent_fold import check_views
from tests.line.making import approval, at, model, plan
from tests.line.plant import Plant
from tests.line.test_corrections import correction


def answered_plant() -> tuple[Plant, str]:
    """AF-1 was answered with an approval that was entered beside the answer; the plant, and where it stands."""
    plant = handed_plant()
    plant.submit(model(at=at(29), model="NOVA", gtin="09521234543220"))
    address = plant.submit(approved(), answered(answer="approved", entered=".0")).address
    return plant, address


def approved(**fields: Any) -> ApprovalEntered:
    """Body A's approval, on the file's day."""
    return approval(**{"at": at(30), "body": "body-a", **fields})


OTHERWISE: dict[str, Record | None] = {
    "withdrawn": None,
    "another body": approved(body="body-b"),
    "another revision": approved(revision=2),
    "another status": approved(status="refused"),
    "another model": approved(model="NOVA"),
    "another kind": plan(at=at(30)),
}


@pytest.mark.parametrize("new", OTHERWISE.values(), ids=OTHERWISE.keys())
def test_an_approval_that_a_file_names_is_not_taken_away(new: Record | None) -> None:
    """The file and the fact are named, and what to do; nothing changes."""
    plant, address = answered_plant()

    refusal = plant.refused(correction((address, new)))

    assert (RuleStands, "changes[0]") == (type(refusal), refusal.where)
    assert f"approval file AF-1 names fact {address} as what body-a answered" in refusal.problem
    assert "approval-file-answered on AF-1" in refusal.mend
    assert "approved" == plant.row(Approval, address).status
    check_views(plant)


@pytest.mark.parametrize(
    "fields", [{"from_on": "2026-02-01"}, {"classes": (15,)}, {"first_serial": "A1", "last_serial": "A9"}]
)
def test_what_the_file_does_not_rest_on_is_put_right(fields: dict[str, Any]) -> None:
    """Dates, classes and serials that were typed wrongly; the answer keeps its place."""
    plant, address = answered_plant()

    plant.submit(correction((address, approved(**fields))))

    assert ("approved", "body-a") == (plant.row(Approval, address).status, plant.row(Approval, address).body)
    assert isinstance(plant.refused(correction((address, None))), RuleStands)
    check_views(plant)


def test_a_mistaken_answer_is_entered_anew_first() -> None:
    """Then the approval that was said wrongly goes, and the one that the file names now stays."""
    plant, address = answered_plant()
    refused = plant.submit(approved(status="refused"), answered(answer="refused", entered=".0")).address

    plant.submit(correction((address, None)))

    assert plant.row(Approval, address) is None
    assert isinstance(plant.refused(correction((refused, None))), RuleStands)
    check_views(plant)


def test_an_approval_that_no_file_names_is_withdrawn() -> None:
    """Of the same model and body, while a file names another."""
    plant, _named = answered_plant()
    other = plant.submit(approved(status="revoked")).address

    plant.submit(correction((other, None)))

    assert plant.row(Approval, other) is None


def test_what_is_another_answer() -> None:
    """Model, body, revision and status make it; the rest does not."""
    assert [] == [name for name, new in OTHERWISE.items() if not answers_otherwise(approved(), new)]
    assert [] == [name for name, new in OTHERWISE.items() if not takes_away(approved(), new)]
    assert not answers_otherwise(approved(), approved(from_on="2026-05-01", bars=("league",)))
