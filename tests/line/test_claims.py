"""Claims: opened on any number or none, examined, decided, replaced."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.balls import BallEngravedAnew
from ledger.line.claims import ClaimDecided, ClaimExamined, ClaimOpened, ClaimReplaced
from ledger.line.record import Record
from ledger.line.rows import Claim
from tests.line.making import allot, at, engrave, engraving, stocked_plant


def opened(claim: str = "C-1", **fields: Any) -> ClaimOpened:
    """A claim for a crack over the block, on day 100."""
    return ClaimOpened(**{"at": at(100), "claim": claim, "mode": "crack-over-block", **fields})


def decided(decision: Any = "accept", claim: str = "C-1") -> ClaimDecided:
    """A decision on day 102."""
    return ClaimDecided(at=at(102), claim=claim, decision=decision, reason="in-term")


EXAMINED = ClaimExamined(at=at(101), claim="C-1", finding="void-at-block")


def test_a_claim_runs_from_open_to_replaced() -> None:
    """Opened, examined, decided, replaced by another ball."""
    plant = stocked_plant()
    serial = engrave(plant, "U-1")
    engrave(plant, "U-2")
    states = []
    for record in (opened(serial=serial), EXAMINED, decided(), ClaimReplaced(at=at(103), claim="C-1", unit="U-2")):
        assert [] == plant.submit(record).codes
        states.append(plant.row(Claim, "C-1").state)
    assert ["open", "examined", "accept", "accept"] == states
    assert "U-2" == plant.row(Claim, "C-1").replacement


def test_a_number_is_found_however_it_was_typed() -> None:
    """Lower case and hyphens are how people write a number; the claim keeps it as engraved."""
    plant = stocked_plant()
    serial = engrave(plant, "U-1")
    typed = f"{serial[:3]}-{serial[3:]}".lower()
    assert [] == plant.submit(opened(serial=typed)).codes
    assert serial == plant.row(Claim, "C-1").serial


def test_a_number_that_no_ball_bears_is_flagged_and_holds_nothing() -> None:
    """A copied label, a prior ball, or a misread serial; or none at all."""
    plant = stocked_plant()
    for claim, fields in (("C-1", {"serial": "X-1"}), ("C-2", {})):
        assert ["claim-unknown-ball"] == plant.submit(opened(claim, **fields)).codes
    assert [] == plant.tables.listed()["Hold"]


def test_a_number_on_several_balls_is_flagged() -> None:
    """Prior numbers repeat; one ball that bore a number twice is one ball; naming the unit settles it."""
    plant = stocked_plant()
    plant.submit(engraving("U-1", "A-1", scheme="prior"), engraving("U-2", "A-1", scheme="prior"))
    assert ["claim-several-balls"] == plant.submit(opened(serial="A-1")).codes
    assert [] == plant.submit(opened("C-2", serial="A-1", unit="U-2")).codes
    plant.submit(engraving("U-3", "A-3", scheme="prior"))
    for serial in (allot(plant)[0], "A-3"):
        scheme: Any = "prior" if serial == "A-3" else "own"
        plant.submit(BallEngravedAnew(at=at(20), unit="U-3", serial=serial, station="E", reason="slip", scheme=scheme))
    assert [] == plant.submit(opened("C-3", serial="A-3")).codes


@pytest.mark.parametrize(
    ("record", "error", "where"),
    [
        (opened(), Contradiction, "claim"),
        (opened("C-2", unit="U-9"), UnknownSubject, "unit"),
        (decided(claim="C-9"), UnknownSubject, "claim"),
        (ClaimReplaced(at=at(103), claim="C-1", unit="U-1"), RuleStands, "claim"),
        (ClaimReplaced(at=at(103), claim="C-1", unit="U-9"), UnknownSubject, "unit"),
    ],
)
def test_what_contradicts_is_refused(record: Record, error: type[Exception], where: str) -> None:
    """Each refusal is of its class and names its field."""
    plant = stocked_plant()
    engrave(plant, "U-1")
    plant.submit(opened())
    refusal = plant.refused(record)
    assert (error, where) == (type(refusal), refusal.where)


def test_a_decided_claim_is_not_decided_again() -> None:
    """An examination after the decision does not reopen it."""
    plant = stocked_plant()
    plant.submit(opened())
    plant.submit(decided("reject"))
    plant.submit(EXAMINED)
    assert "reject" == plant.row(Claim, "C-1").state
    refusal = plant.refused(decided())
    assert (Contradiction, "claim") == (type(refusal), refusal.where)
