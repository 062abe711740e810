"""Cases: opened on what the book knows, ordered by holds that stand, noted, closed once nothing of it is held."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, MalformedRecord, RuleStands, UnknownSubject
from ledger.line.case_rows import Case, CaseHold, CaseNotice
from ledger.line.corrections import Change, Correction
from ledger.line.holds import HoldLifted
from ledger.line.suspects import Suspect
from tests.line.cases_said import closed, hold, noticed, opened, ordered, sent_plant
from tests.line.independent_fold import check_views
from tests.line.making import at
from tests.line.plant import Plant


@pytest.fixture
def plant() -> Plant:
    """A plant with balls at two shops."""
    return sent_plant()


def case(plant: Plant) -> Case:
    """The row of C-1."""
    row: Case = plant.row(Case, "C-1")
    return row


def test_a_case_holds_nothing_by_itself(plant: Plant) -> None:
    """Its suspect stays as it was said, and no action is ordered."""
    plant.submit(opened())
    row = case(plant)
    assert ('{"name":"BL-1","sort":"block-lot"}', "none", True) == (row.suspect, row.action, row.open)
    assert not plant.tables.rows[CaseHold]
    check_views(plant)


@pytest.mark.parametrize(
    ("suspect", "refusal"),
    [
        ({"sort": "block-lot", "name": "BL-9"}, UnknownSubject),
        ({"sort": "core-lot", "name": "BL-1"}, Contradiction),
        ({"sort": "gauge", "name": "G-9"}, UnknownSubject),
        ({"sort": "mould", "name": "M-9"}, UnknownSubject),
        ({"sort": "serials", "name": "X"}, MalformedRecord),
    ],
)
def test_a_suspect_that_the_book_does_not_know_is_refused(
    plant: Plant, suspect: dict[str, Any], refusal: type[Exception]
) -> None:
    """So is a lot of another stage, and a suspect said in two ways."""
    refused = plant.refused(opened(suspect=Suspect(**suspect)))
    assert (refusal, True) == (type(refused), refused.where.startswith("suspect"))


def test_a_case_is_opened_once(plant: Plant) -> None:
    """A second one needs an id of its own."""
    plant.submit(opened())
    assert isinstance(plant.refused(opened()), Contradiction)


def test_an_order_and_its_holds_stand_together(plant: Plant) -> None:
    """In one submission the holds come before the order that names them."""
    plant.submit(opened(), hold(), ordered())
    assert "recall" == case(plant).action
    assert [("C-1", "C-1.1")] == [(row.case, row.hold) for row in _rows(plant, CaseHold)]
    check_views(plant)


def test_an_order_of_holds_that_do_not_stand_is_refused(plant: Plant) -> None:
    """A hold that was never placed, one that is lifted, and for a recall one that a single person may lift."""
    plant.submit(opened())
    assert isinstance(plant.refused(ordered()), UnknownSubject)
    plant.submit(hold(recall=False))
    assert isinstance(plant.refused(ordered()), RuleStands)
    plant.submit(HoldLifted(at=at(20), hold="C-1.1", reason="typing"))
    lifted = plant.refused(ordered(action="stop-sale"))
    assert (UnknownSubject, True) == (type(lifted), "is lifted" in str(lifted))


def test_a_hold_on_nothing_is_refused(plant: Plant) -> None:
    """The whole submission is: neither case nor hold stands."""
    refused = plant.refused(opened(), hold(node="lot:BL-9"), ordered())
    assert (UnknownSubject, "node", True) == (type(refused), refused.where, "lot:BL-9" in str(refused))


def test_a_stop_of_sale_may_become_a_recall_and_not_the_other_way(plant: Plant) -> None:
    """The holds of both belong to the case."""
    plant.submit(opened(), hold(recall=False), ordered(action="stop-sale"))
    plant.submit(hold("C-1.2"), ordered("C-1.2"))
    assert ("recall", 2) == (case(plant).action, len(_rows(plant, CaseHold)))
    assert isinstance(plant.refused(hold("C-1.3"), ordered("C-1.3", action="stop-sale")), Contradiction)
    check_views(plant)


def test_a_letter_says_what_was_ordered(plant: Plant) -> None:
    """Before an order there is none to note, and none to a consignee outside the register."""
    plant.submit(opened())
    assert isinstance(plant.refused(noticed()), RuleStands)
    plant.submit(hold(), ordered())
    assert isinstance(plant.refused(noticed(action="stop-sale")), RuleStands)
    assert isinstance(plant.refused(noticed(consignee="SHOP-9")), UnknownSubject)
    plant.submit(noticed())
    assert [("C-1", "SHOP-1", 2)] == [(row.case, row.consignee, row.balls) for row in _rows(plant, CaseNotice)]
    check_views(plant)


def test_a_case_is_not_closed_while_its_holds_stand(plant: Plant) -> None:
    """A recall needs both people; then it is closed for good."""
    plant.submit(opened(), hold(), ordered())
    refused = plant.refused(closed())
    assert (RuleStands, "case", True) == (type(refused), refused.where, "C-1.1" in str(refused))
    plant.submit(HoldLifted(at=at(25), hold="C-1.1", reason="sound"))
    assert isinstance(plant.refused(closed()), RuleStands)
    plant.submit(HoldLifted(at=at(26), hold="C-1.1", reason="sound"), author="a-omar")
    plant.submit(closed(closed_with_unaccounted=2))
    assert (False, "contained", 2) == (case(plant).open, case(plant).decision, case(plant).unaccounted)
    for record in (closed(), noticed(), ordered()):
        assert isinstance(plant.refused(record), Contradiction)
    check_views(plant)


def test_a_case_that_is_unknown_is_refused(plant: Plant) -> None:
    """Whatever is said of it."""
    for record in (closed(), noticed(), ordered()):
        assert isinstance(plant.refused(record), UnknownSubject)


def test_an_opening_may_be_corrected_and_not_withdrawn_from_under_its_order(plant: Plant) -> None:
    """A correction folds the case anew; facts of a case that nothing opened would speak of nothing."""
    said = plant.submit(opened(reason="hard"), hold(), ordered())
    right = Correction(at=at(21), reason="typing", changes=(Change(fact=said.address, replacement=opened()),))
    plant.submit(right)
    assert ("soft", "recall") == (case(plant).reason, case(plant).action)
    check_views(plant)
    assert isinstance(
        plant.refused(Correction(at=at(22), reason="typing", changes=(Change(fact=said.address),))), Contradiction
    )


def _rows(plant: Plant, row: type[Any]) -> list[Any]:
    return list(plant.tables.rows[row].values())
