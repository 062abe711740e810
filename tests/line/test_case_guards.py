"""A case has holds of its own, and a recall goes by two people alone."""

from __future__ import annotations

import pytest

from ledger.errors import Contradiction, RuleStands
from ledger.line.blob_erasures import BlobErasure
from ledger.line.case_rows import Case
from ledger.line.corrections import Change, Correction
from ledger.line.holds import breach_hold, is_breach_hold
from tests.line.cases_said import LETTER, hold, noticed, opened, ordered, sent_plant
from tests.line.making import at
from tests.line.plant import Plant


@pytest.fixture
def plant() -> Plant:
    """A plant with balls at two shops."""
    return sent_plant()


def test_a_case_may_be_named_with_any_first_letter(plant: Plant) -> None:
    """Its holds bear its name, B as well as another."""
    plant.submit(opened("BLOCKS-7"))
    plant.submit(hold("BLOCKS-7.1"), ordered("BLOCKS-7.1", case="BLOCKS-7"))
    row: Case = plant.row(Case, "BLOCKS-7")
    assert "recall" == row.action


@pytest.mark.parametrize("case", ["B12.0", "B12.0.1"])
def test_a_case_is_not_named_so_that_its_holds_look_like_those_of_breaches(plant: Plant, case: str) -> None:
    """It is refused where it is opened, and not first where it is ordered."""
    refusal = plant.refused(opened(case))
    assert (Contradiction, "case") == (type(refusal), refusal.where)


def test_the_holds_of_breaches_are_told_by_their_form(plant: Plant) -> None:
    """As they are made of a fact's address, and of that of its body."""
    names = ["B12.0.0", "B12.0.1.0", "BLOCKS-7.1", "B12", "B12.0", "C-1.1"]
    assert [True, True, False, False, False, False] == [is_breach_hold(name) for name in names]
    fact = plant.fact(plant.submit(opened()).address)
    assert fact is not None
    assert is_breach_hold(breach_hold(fact, 0))


def test_a_case_does_not_order_by_the_holds_of_another(plant: Plant) -> None:
    """Lifting those of the one would lift what the other holds."""
    plant.submit(opened())
    plant.submit(hold(), ordered())
    plant.submit(opened("C-2"))
    refusal = plant.refused(ordered("C-1.1", case="C-2"))
    assert (Contradiction, "holds[0]") == (type(refusal), refusal.where)
    assert "case C-1" in refusal.problem
    plant.submit(ordered("C-1.1"))


def test_a_recall_is_not_taken_back_by_a_correction(plant: Plant) -> None:
    """Neither withdrawn nor made a stop of sale: one person would end what two have to."""
    plant.submit(opened())
    plant.submit(hold())
    order = plant.submit(ordered()).address
    for change in (Change(fact=order), Change(fact=order, replacement=ordered(action="stop-sale"))):
        refusal = plant.refused(Correction(at=at(30), reason="typing", changes=(change,)))
        assert (RuleStands, "changes[0]") == (type(refusal), refusal.where)
        assert "two people" in refusal.problem


def test_a_stop_of_sale_is_ended_by_lifting_and_not_by_a_correction(plant: Plant) -> None:
    """Its holds would be nobody's, and stand on."""
    plant.submit(opened())
    plant.submit(hold(recall=False))
    entry = plant.submit(ordered(action="stop-sale"))
    refusal = plant.refused(Correction(at=at(30), reason="typing", changes=(Change(fact=entry.address),)))
    assert (RuleStands, "changes[0]") == (type(refusal), refusal.where)
    assert "close the case" in refusal.mend


def test_an_order_stops_what_it_says(plant: Plant) -> None:
    """A hold that lets balls be shipped is no stop of sale."""
    plant.submit(opened())
    plant.submit(hold("C-1.1", stops=("work", "use")))
    refusal = plant.refused(ordered("C-1.1"))
    assert (RuleStands, "holds[0]", "use,work") == (type(refusal), refusal.where, refusal.got)


def test_the_letter_of_a_case_is_not_erased(plant: Plant) -> None:
    """It shows who was told to stop."""
    plant.submit(opened())
    plant.submit(hold(), ordered(), noticed())
    refusal = plant.refused(BlobErasure(at=at(31), blobs=(LETTER,), basis="request", reason="asked"))
    assert (RuleStands, "blobs[0]") == (type(refusal), refusal.where)
    assert "a letter of a case" in refusal.problem
