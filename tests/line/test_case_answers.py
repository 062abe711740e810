"""What consignees answer: each ball once, later in the place of earlier, and what is wrong told without a hold."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, MalformedRecord, UnknownSubject
from ledger.line.case_rows import CaseAnswer
from ledger.line.rows import Hold, Unit
from ledger.line.shipments import Shipment
from ledger.line.suspects import Suspect
from tests.line.cases_said import answered, closed, opened, sent_plant
from tests.line.independent_fold import check_views
from tests.line.making import at, engraving, shells
from tests.line.plant import Plant


@pytest.fixture
def plant() -> Plant:
    """A plant with balls at two shops, and a case on BL-1."""
    plant = sent_plant()
    plant.submit(opened())
    return plant


def said(plant: Plant) -> list[tuple[Any, ...]]:
    """Who said what of which ball."""
    rows = [row for row in plant.tables.rows[CaseAnswer].values() if isinstance(row, CaseAnswer)]
    return sorted((row.consignee, row.unit or row.serial, row.said, row.to) for row in rows)


def test_answers_are_kept_ball_by_ball(plant: Plant) -> None:
    """By unit, or by the serial that was read off the ball."""
    serial = _serial(plant, "U-2")
    taken = plant.submit(answered({"unit": "U-1", "said": "sold"}, {"serial": serial, "said": "in-stock"}))
    assert [] == taken.codes
    assert sorted([("SHOP-1", "U-1", "sold", None), ("SHOP-1", serial, "in-stock", None)]) == said(plant)
    check_views(plant)


def test_a_later_answer_takes_the_place_of_the_earlier(plant: Plant) -> None:
    """Of the same consignee about the same ball; what another says stands beside it."""
    plant.submit(answered({"unit": "U-1", "said": "in-stock"}))
    plant.submit(answered({"unit": "U-1", "said": "moved", "to": "SHOP-2"}))
    taken = plant.submit(answered({"unit": "U-1", "said": "destroyed"}, consignee="SHOP-2"))
    assert [] == taken.codes
    assert [("SHOP-1", "U-1", "moved", "SHOP-2"), ("SHOP-2", "U-1", "destroyed", None)] == said(plant)
    check_views(plant)


@pytest.mark.parametrize(
    ("answer", "code"),
    [
        ({"unit": "U-3", "said": "sold"}, "answer-not-sent"),
        ({"unit": "U-4", "said": "sold"}, "answer-not-sent"),
        ({"serial": "NOBODY-1", "said": "sold"}, "answer-unknown-ball"),
        ({"unit": "U-99", "said": "sold"}, "answer-unknown-ball"),
    ],
)
def test_an_answer_about_another_ball_is_entered_and_told(plant: Plant, answer: dict[str, Any], code: str) -> None:
    """A ball sent to another shop, one never sent, a number that no ball bears: a breach that holds nothing."""
    taken = plant.submit(answered(answer))
    assert [code] == taken.codes
    assert ([False], ["case:C-1"]) == ([one.holds for one in taken.breaches], [one.node for one in taken.breaches])
    assert not plant.tables.rows[Hold]
    assert 1 == len(said(plant))


def test_an_answer_about_a_ball_that_is_not_of_the_case_is_told(plant: Plant) -> None:
    """A mould set that the ball's lot was not poured in does not touch it."""
    plant.submit(shells("SL-2", ("CL-1", 1), mould_set="M-2"))
    plant.submit(opened("C-2", Suspect(sort="mould", name="M-2")))
    taken = plant.submit(answered({"unit": "U-1", "said": "sold"}, case="C-2"))
    assert ["answer-not-of-case"] == taken.codes


@pytest.mark.parametrize(
    ("answers", "refusal", "where"),
    [
        ([{"said": "sold"}], MalformedRecord, "answers[0]"),
        ([{"said": "sold", "unit": "U-1", "serial": "X"}], MalformedRecord, "answers[0]"),
        ([{"said": "sold", "unit": "U-1", "to": "SHOP-2"}], MalformedRecord, "answers[0].to"),
        ([{"said": "moved", "unit": "U-1", "to": "SHOP-9"}], UnknownSubject, "answers[0].to"),
        ([{"said": "sold", "unit": "U-1"}, {"said": "moved", "unit": "U-1"}], Contradiction, "answers[1]"),
    ],
)
def test_an_answer_is_said_in_one_way(
    plant: Plant, answers: list[dict[str, Any]], refusal: type[Exception], where: str
) -> None:
    """Each ball once, by unit or serial, and only what was moved has somewhere that it went."""
    refused = plant.refused(answered(*answers))
    assert (refusal, where) == (type(refused), refused.where)


def test_nobody_answers_for_a_case_or_consignee_that_is_not_there(plant: Plant) -> None:
    """Nor for one that is closed."""
    assert isinstance(plant.refused(answered(case="C-9")), UnknownSubject)
    assert isinstance(plant.refused(answered(consignee="SHOP-9")), UnknownSubject)
    plant.submit(closed())
    assert isinstance(plant.refused(answered()), Contradiction)


def test_answers_by_a_number_of_several_balls_are_right_for_any_of_them(plant: Plant) -> None:
    """A prior number that two balls bear: no breach while one of them was sent there."""
    for unit in ("U-5", "U-6"):
        plant.submit(engraving(unit, "P1", scheme="prior"))
    plant.submit(Shipment(at=at(13), shipment="SH-5", units=("U-6",), to="SHOP-1", purpose="sample"))
    assert [] == plant.submit(answered({"serial": "P1", "said": "sold"})).codes


def _serial(plant: Plant, unit: str) -> str:
    row: Unit = plant.row(Unit, unit)
    return str(row.serial)
