"""Ready-made facts for the tests of claims: a ball that was sold, claims on it from day 100 on, and what follows."""

from __future__ import annotations

from typing import Any

from ledger.line.claims import ClaimDecided, ClaimExamined, ClaimOpened, ClaimReplaced, ClaimReplied, Evidence
from ledger.line.shipments import Shipment
from tests.line.making import at, engrave, stocked_plant
from tests.line.plant import Plant

PHOTO = Evidence(digest="1" * 64, what="photo")
RECEIPT = Evidence(digest="2" * 64, what="receipt")


def left(*units: str, day: int = 20, shipment: str = "SH-1", **fields: Any) -> Shipment:
    """Balls that left, not for sale, so that nothing but their engraving is asked of them."""
    said: dict[str, Any] = {"at": at(day), "shipment": shipment, "units": units, "consignee": "a shop"}
    return Shipment(**{**said, "purpose": "display", **fields})


def sold_plant(count: int = 1) -> tuple[Plant, list[str]]:
    """A plant whose balls U-1, U-2... were engraved on day 9 and left on day 20; their numbers."""
    plant = stocked_plant()
    serials = [engrave(plant, f"U-{number + 1}") for number in range(count)]
    plant.submit(left(*(f"U-{number + 1}" for number in range(count))))
    return plant, serials


def opened(claim: str = "C-1", day: int = 100, **fields: Any) -> ClaimOpened:
    """A claim for a crack over the block."""
    return ClaimOpened(**{"at": at(day), "claim": claim, "mode": "crack-over-block", **fields})


def examined(claim: str = "C-1", day: int = 101, **fields: Any) -> ClaimExamined:
    """A ball that was cut open, with a void found at its block."""
    return ClaimExamined(**{"at": at(day), "claim": claim, "findings": ("void-at-block",), **fields})


def decided(decision: str = "accept", reason: str = "fault-found", claim: str = "C-1", **fields: Any) -> ClaimDecided:
    """A decision on day 102."""
    said = {"at": at(102), "claim": claim, "decision": decision, "reason": reason}
    return ClaimDecided(**{**said, **fields})


def replaced(unit: str, claim: str = "C-1", **fields: Any) -> ClaimReplaced:
    """A fresh term with another ball, the old one left with the claimant, on day 103."""
    said = {"at": at(103), "claim": claim, "unit": unit, "term": "fresh", "old_ball": "kept"}
    return ClaimReplaced(**{**said, **fields})


def replied(claim: str = "C-1", **fields: Any) -> ClaimReplied:
    """A letter on day 104."""
    return ClaimReplied(**{"at": at(104), "claim": claim, "letter": "9" * 64, **fields})


def claim_steps(
    now: str, claim: str, fresh: str, unit: str, files: tuple[Evidence, ...] = ()
) -> dict[str, ClaimOpened | ClaimExamined | ClaimDecided | ClaimReplaced | ClaimReplied]:
    """A way on of a claim, or a fresh one, at an instant; each may be refused."""
    return {
        "open": opened(fresh, at=now, unit=unit, claimant="a person", evidence=files, answer_by="2027-01-01"),
        "examine": examined(claim, at=now, evidence=files),
        "decide": decided(claim=claim, at=now),
        "settle": decided("goodwill", "goodwill", claim, at=now),
        "ask": decided("need-more", "photo-missing", claim, at=now),
        "replace": replaced(unit, claim, at=now),
        "reply": replied(claim, at=now),
    }
