"""What a decision on a claim rests on says something of the ball, and can still be looked at."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import RuleStands
from ledger.line.blob_erasures import BlobErasure
from ledger.line.claim_reasons import WORDS
from ledger.line.claim_rows import Claim
from ledger.line.corrections import Change, Correction
from ledger.line.plant_rules import PlantRulesSet
from ledger.line.rows import About
from tests.line.claiming import PHOTO, RECEIPT, decided, opened, sold_plant
from tests.line.making import at
from tests.line.plant import Plant

BOUGHT = "2026-02-01"


def claimed(**fields: Any) -> tuple[Plant, str]:
    """A plant with claim C-1 on ball U-1, which was sold; the address of its opening."""
    plant, _ = sold_plant(2)
    return plant, plant.submit(opened(**{"unit": "U-1", **fields})).address


def erased(*digests: str, day: int = 101) -> BlobErasure:
    """Files erased on request."""
    return BlobErasure(at=at(day), blobs=digests, basis="request", reason="asked-by-the-person")


def test_a_file_that_was_erased_before_bears_no_decision() -> None:
    """Neither as the photo of a fault nor as the receipt; a photo that is still there does."""
    plant, _ = claimed(bought_on=BOUGHT, evidence=(PHOTO, RECEIPT))
    plant.submit(erased(PHOTO.digest))
    refusal = plant.refused(decided("accept", "in-term"))
    assert (RuleStands, "reason") == (type(refusal), refusal.where)
    assert WORDS["photo"] in refusal.problem
    plant, _ = claimed(bought_on=BOUGHT, evidence=(PHOTO, RECEIPT))
    plant.submit(erased(RECEIPT.digest))
    assert WORDS["proof-of-purchase"] in plant.refused(decided("accept", "in-term")).problem


def test_a_file_that_was_erased_since_bore_the_decision() -> None:
    """Its correction is judged by what could be looked at then, and nothing is flagged."""
    plant, _ = claimed(bought_on=BOUGHT, evidence=(PHOTO, RECEIPT))
    first = plant.submit(decided("accept", "in-term"))
    plant.submit(erased(PHOTO.digest, RECEIPT.digest, day=103))
    again = Change(fact=first.address, replacement=decided("accept", "in-term", at=at(102, "09:00")))
    assert [] == plant.submit(Correction(at=at(104), reason="typing", changes=(again,))).codes
    assert "accept" == plant.row(Claim, "C-1").state


@pytest.mark.parametrize("reason", ["known-fault", "claimed-before"])
def test_the_claims_own_facts_are_no_further_ground(reason: str) -> None:
    """That it was opened shows no known fault, and no earlier claim."""
    plant, opening = claimed()
    decision = "accept" if reason == "known-fault" else "reject"
    assert RuleStands is type(plant.refused(decided(decision, reason, rests_on=(opening,))))


def test_a_fact_of_the_office_shows_no_known_fault() -> None:
    """A rule that the plant set is about no ball."""
    plant, _ = claimed()
    rule = plant.submit(PlantRulesSet(at=at(100)))
    refusal = plant.refused(decided("accept", "known-fault", rests_on=(rule.address,)))
    assert WORDS["fact-named"] in refusal.problem


def test_a_claim_made_before_is_shown_by_a_fact_of_that_claim() -> None:
    """What is known of the ball alone does not show it."""
    plant, opening = claimed()
    plant.submit(opened("C-2", unit="U-1"))
    ball = next(row.address for row in plant.tables.where(About, "node", "unit:U-1"))
    assert WORDS["other-claim"] in plant.refused(decided("reject", "claimed-before", "C-2", rests_on=(ball,))).problem
    plant.submit(decided("reject", "claimed-before", "C-2", rests_on=(opening,)))
    assert "reject" == plant.row(Claim, "C-2").state
