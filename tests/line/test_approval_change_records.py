"""Changes after a hand-over: found once each, reported once, and only of a file that is out."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, LedgerError, RuleStands, UnknownSubject
from ledger.line.approval_changes import ApprovalChangeFound, ApprovalChangeReported
from ledger.line.approval_files import ApprovalFileReopened
from ledger.line.approval_rows import ApprovalChange, ApprovalFile
from tests.line.approving import frozen_plant, handed_plant
from tests.line.independent_fold import check_views
from tests.line.making import at
from tests.line.plant import Plant


@pytest.fixture
def plant() -> Plant:
    """AF-1 handed over."""
    return handed_plant()


def found(plant: Plant, **fields: Any) -> ApprovalChangeFound:
    """The plan of fact 0.1 is another."""
    said: dict[str, Any] = {"at": at(40), "file": "AF-1", "freeze": plant.row(ApprovalFile, "AF-1").frozen or "0.0"}
    return ApprovalChangeFound(**{**said, "sort": "plan", "subject": "0.1", "fact": "0.1", **fields})


def reported(*changes: str, **fields: Any) -> ApprovalChangeReported:
    """A letter about the changes."""
    return ApprovalChangeReported(**{"at": at(41), "file": "AF-1", "changes": changes, "to": "Body A", **fields})


def test_a_change_is_found_and_reported_once(plant: Plant) -> None:
    """The same again is refused; another sort of the same fact is another change."""
    first = plant.submit(found(plant)).address
    assert isinstance(plant.refused(found(plant)), Contradiction)
    second = plant.submit(found(plant, sort="other")).address
    said = plant.submit(reported(first, letter="e" * 64)).address
    rows: dict[str, ApprovalChange] = {row.change: row for row in plant.tables.rows[ApprovalChange].values()}  # type: ignore[attr-defined,misc]  # its rows
    assert (said, "e" * 64, None) == (rows[first].reported, rows[first].letter, rows[second].reported)
    assert isinstance(plant.refused(reported(first)), Contradiction)
    assert isinstance(plant.refused(reported(second, second)), Contradiction)
    check_views(plant)


def test_a_file_in_house_has_no_changes_to_report(plant: Plant) -> None:
    """Before the hand-over and after it was opened again, a change goes into the file."""
    assert isinstance(frozen_plant().refused(found(frozen_plant())), RuleStands)
    earlier = found(plant)
    plant.submit(ApprovalFileReopened(at=at(39), file="AF-1", reason="plan-changed"))
    assert (RuleStands, "freeze") == (type(refused := plant.refused(earlier)), refused.where)


@pytest.mark.parametrize(
    ("fields", "refusal", "where"),
    [
        ({"fact": "99.0"}, UnknownSubject, "fact"),
        ({"file": "AF-9"}, UnknownSubject, "file"),
        ({"freeze": "0.0"}, RuleStands, "freeze"),
    ],
)
def test_a_change_that_nothing_shows_is_refused(
    plant: Plant, fields: dict[str, Any], refusal: type[LedgerError], where: str
) -> None:
    """A fact or a file that is none, and another freeze than the one that stands."""
    refused = plant.refused(found(plant, **fields))
    assert (refusal, where) == (type(refused), refused.where)


def test_a_report_names_changes_of_its_file(plant: Plant) -> None:
    """A fact that finds none is refused at its place."""
    address = plant.submit(found(plant)).address
    refused = plant.refused(reported(address, "0.0"))
    assert (UnknownSubject, "changes[1]") == (type(refused), refused.where)
