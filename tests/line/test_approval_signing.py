"""A file frozen as it stands, signed by two others, handed over while nothing changed, and answered."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import Contradiction, LedgerError, RuleStands, UnknownSubject
from ledger.line.approval_document import FrozenFact, FrozenSample, parse_frozen
from ledger.line.approval_files import ApprovalFileReopened
from ledger.line.approval_rows import ApprovalFile, ApprovalReply, ApprovalSample, ApprovalSignature
from ledger.line.corrections import Change, Correction
from ledger.line.inspections import Inspection
from ledger.line.plant_rules import PlantRulesSet
from tests.line.approving import (
    SIGNERS,
    answered,
    approval_plant,
    document,
    draw,
    frozen,
    frozen_plant,
    handed_over,
    handed_plant,
    item,
    opened,
    signed,
)
from tests.line.independent_fold import check_views
from tests.line.making import approval, at, inspection, plan, reading
from tests.line.plant import Plant


def file_row(plant: Plant) -> ApprovalFile:
    """The row of AF-1."""
    row: ApprovalFile = plant.row(ApprovalFile, "AF-1")
    return row


def a_sample(plant: Plant) -> str:
    """A ball that is a sample."""
    return str(plant.tables.where(ApprovalSample, "file", "AF-1")[0].unit)


def test_a_file_goes_to_its_body_by_two_signatures() -> None:
    """Frozen by one, signed by two others; then it may go out, more than once, and is answered."""
    plant = frozen_plant()
    assert "frozen" == file_row(plant).state
    assert isinstance(plant.refused(handed_over(plant)), RuleStands)
    plant.submit(signed(plant), author="a-john")
    assert ("frozen", True) == (file_row(plant).state, isinstance(plant.refused(handed_over(plant)), RuleStands))
    plant.submit(signed(plant), author="a-kate")
    assert "signed" == file_row(plant).state
    plant.submit(handed_over(plant))
    plant.submit(handed_over(plant, to="Body A, a second copy"))
    assert "handed-over" == file_row(plant).state
    plant.submit(answered())
    assert ("answered", "more-wanted") == (file_row(plant).state, file_row(plant).answer)
    check_views(plant)


def test_who_froze_a_file_does_not_sign_it() -> None:
    """Nor does anybody sign twice."""
    plant = frozen_plant()
    refused = plant.refused(signed(plant))
    assert (RuleStands, "another account") == (type(refused), refused.expected)
    plant.submit(signed(plant), author="a-john")
    assert isinstance(plant.refused(signed(plant), author="a-john"), Contradiction)
    assert 1 == len(plant.tables.rows[ApprovalSignature])


@given(st.lists(st.sampled_from(["a-mary", "a-john", "a-kate", "a-lena"]), max_size=6))
def test_the_signers_of_a_file_differ_whoever_tries(authors: list[str]) -> None:
    """Whatever the order in which people try: a file is signed by two accounts, and by none that froze it."""
    plant = frozen_plant()
    for author in authors:
        try:
            plant.submit(signed(plant), author=author)
        except LedgerError:
            continue
    rows: list[Any] = list(plant.tables.rows[ApprovalSignature].values())
    others = set(authors) - {"a-mary"}
    assert others == {row.by for row in rows}
    assert len(rows) == len(others)
    assert ("signed" if len(others) > 1 else "frozen") == file_row(plant).state


def test_other_words_are_not_signed() -> None:
    """What is signed is the file's own sentence, with its digest and what was left open."""
    plant = frozen_plant()
    good = signed(plant)
    assert file_row(plant).model in good.says
    refused = plant.refused(msgspec.structs.replace(good, says=good.says + " Mostly."), author="a-john")
    assert ("says", good.says) == (refused.where, refused.expected)


def test_a_document_that_is_another_is_not_frozen() -> None:
    """What was looked at before an answer came is refused, with the digest of what stands."""
    plant = approval_plant()
    plant.submit(opened())
    draw(plant)
    early = frozen(plant)
    plant.submit(item())
    refused = plant.refused(early)
    assert (RuleStands, "document", frozen(plant).document) == (type(refused), refused.where, refused.expected)
    assert "left_open" == plant.refused(frozen(plant, left_open=("fee", "fee"))).where
    plant.submit(frozen(plant, left_open=("fee", "samples")))
    assert "Left open: fee, samples." in signed(plant).says


def correction_of(plant: Plant, kind: type) -> Correction:
    """The first fact of a kind corrected to what it says already: its body is another."""
    fact = next(fact for fact in plant.facts() if isinstance(fact.record, kind))
    return Correction(at=at(24), reason="typed-wrong", changes=(Change(fact=fact.address, replacement=fact.record),))


@pytest.mark.parametrize("step", [signed, handed_over])
def test_a_file_that_changed_since_the_freeze_goes_no_further(step: Any) -> None:
    """A later reading, a corrected engraving, another plan: each stands in the way until it is frozen anew."""
    plant = frozen_plant()
    if step is handed_over:
        for author in SIGNERS:
            plant.submit(signed(plant), author=author)
    plant.submit(plan(at=at(24), windows=()))
    refused = plant.refused(step(plant), author="a-lena")
    assert (RuleStands, "freeze") == (type(refused), refused.where)
    plant.submit(ApprovalFileReopened(at=at(25), file="AF-1", reason="plan-changed"))
    plant.submit(frozen(plant))
    plant.submit(signed(plant), author="a-lena")
    check_views(plant)


def test_readings_and_corrections_change_the_document_and_much_else_does_not() -> None:
    """What is read of a sample does, and what corrects what it rests on; limits of the plant and other balls do not."""
    plant = approval_plant()
    plant.submit(opened())
    draw(plant)
    seen = [document(plant)]
    others = [f"U-{number}" for number in range(1, 9) if f"U-{number}" not in seen[0].decode()]
    plant.submit(PlantRulesSet(at=at(22), late_s=7_200))
    plant.submit(inspection(others[0], reading(), at=at(22)))
    assert seen == [document(plant)]
    plant.submit(inspection(a_sample(plant), reading(), at=at(22)))
    seen.append(document(plant))
    plant.submit(correction_of(plant, Inspection))
    assert document(plant) == seen[1]
    mine = next(
        fact for fact in plant.facts() if isinstance(fact.record, Inspection) and fact.record.unit == a_sample(plant)
    )
    change = Change(fact=mine.address, replacement=inspection(a_sample(plant), reading(value="15.11"), at=at(22)))
    plant.submit(Correction(at=at(23), reason="typed-wrong", changes=(change,)))
    seen.append(document(plant))
    assert 3 == len(set(seen))
    bodies = {line.fact: line.body for line in parse_frozen(seen[2]).of(FrozenFact)}
    assert bodies[mine.address] == f"{len(plant.entries) - 1}.0.0"
    (read,) = [line.readings for line in parse_frozen(seen[2]).of(FrozenSample) if line.readings]
    assert [("mass", 15_110_000, "lb", "G-MASS")] == [(one.quantity, one.value, one.unit, one.gauge) for one in read]


def test_a_freeze_that_is_none_is_not_signed() -> None:
    """A fact that freezes nothing, and a freeze that counts no more."""
    plant = frozen_plant()
    old = signed(plant)
    assert isinstance(plant.refused(msgspec.structs.replace(old, freeze="3.0"), author="a-john"), UnknownSubject)
    plant.submit(ApprovalFileReopened(at=at(24), file="AF-1", reason="photo-missing"))
    refused = plant.refused(old, author="a-john")
    assert (RuleStands, "approval file AF-1 is open") == (type(refused), refused.problem)


def test_an_answer_that_comes_early_is_entered_with_a_breach() -> None:
    """It holds nothing, and the file stays as it is."""
    plant = frozen_plant()
    assert ["approval-answer-early"] == plant.submit(answered()).codes
    assert ("frozen", "more-wanted") == (file_row(plant).state, file_row(plant).answer)
    check_views(plant)


def test_an_approval_is_entered_beside_the_answer_or_before_it() -> None:
    """``.0`` is the first record of the same submission."""
    plant = handed_plant()
    own = approval(at=at(30), body="body-a")
    at_once = plant.submit(own, answered(answer="approved", entered=".0", reference="A 7/2026"))
    row: ApprovalReply = plant.row(ApprovalReply, f"{at_once.at}.1")
    assert (at_once.address, "A 7/2026") == (row.entered, row.reference)
    later = plant.submit(answered(answer="approved", entered=at_once.address))
    assert at_once.address == plant.row(ApprovalReply, later.address).entered
    check_views(plant)


@pytest.mark.parametrize(
    ("fields", "answer", "refusal"),
    [
        ({}, {"answer": "approved"}, RuleStands),
        ({}, {"answer": "approved", "entered": ".5"}, UnknownSubject),
        ({"body": "body-b"}, {"answer": "approved", "entered": ".0"}, Contradiction),
        ({"revision": 2}, {"answer": "approved", "entered": ".0"}, Contradiction),
        ({"status": "refused"}, {"answer": "approved", "entered": ".0"}, Contradiction),
        ({}, {"answer": "refused", "entered": ".0"}, Contradiction),
        ({}, {"answer": "more-wanted", "entered": ".0"}, Contradiction),
    ],
)
def test_an_answer_is_of_the_approval_that_it_names(
    fields: dict[str, Any], answer: dict[str, Any], refusal: type[LedgerError]
) -> None:
    """Approved needs one; body, revision and status are those of the file and the answer."""
    refused = handed_plant().refused(approval(at=at(30), **fields), answered(**answer))
    assert (refusal, "records[1].entered") == (type(refused), f"records[1].{refused.where.rpartition('.')[2]}")
