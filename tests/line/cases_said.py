"""Cases as they are said in tests of the line: a plant with balls sent to shops, and the records of a case."""

from __future__ import annotations

from typing import Any

from ledger.line.case_answers import BallAnswer, CaseAnswered
from ledger.line.cases import CaseClosed, CaseNoticed, CaseOpened, CaseOrdered
from ledger.line.consignees import ConsigneeRegistered
from ledger.line.holds import HoldPlaced
from ledger.line.shipments import Shipment
from ledger.line.suspects import Suspect
from tests.line.making import at, engrave, stocked_plant
from tests.line.plant import Plant

LETTER = "d" * 64


def sent_plant() -> Plant:
    """SL-1 with U-1 to U-4 of it: U-1 and U-2 sent to SHOP-1, U-3 to SHOP-2."""
    plant = stocked_plant()
    for shop in ("SHOP-1", "SHOP-2"):
        plant.submit(ConsigneeRegistered(at=at(8), consignee=shop, name=shop.title(), market="north"))
    for number in range(1, 5):
        engrave(plant, f"U-{number}", place=number)
    for shipment, shop, units in (("SH-1", "SHOP-1", ("U-1", "U-2")), ("SH-2", "SHOP-2", ("U-3",))):
        plant.submit(Shipment(at=at(12), shipment=shipment, units=units, to=shop, purpose="sample"))
    return plant


def opened(case: str = "C-1", suspect: Suspect | None = None, **fields: Any) -> CaseOpened:
    """A case on block lot BL-1."""
    suspect = suspect or Suspect(sort="block-lot", name="BL-1")
    return CaseOpened(**{"at": at(20), "case": case, "why": "found", "reason": "soft", "suspect": suspect, **fields})


def hold(name: str = "C-1.1", **fields: Any) -> HoldPlaced:
    """A recall hold on BL-1."""
    return HoldPlaced(**{"at": at(20), "hold": name, "reason": "soft", "node": "lot:BL-1", "recall": True, **fields})


def ordered(*holds: str, **fields: Any) -> CaseOrdered:
    """A recall by the holds."""
    return CaseOrdered(**{"at": at(20), "case": "C-1", "action": "recall", "holds": holds or ("C-1.1",), **fields})


def noticed(**fields: Any) -> CaseNoticed:
    """A recall letter to SHOP-1 over two balls."""
    said: dict[str, Any] = {"at": at(21), "case": "C-1", "consignee": "SHOP-1", "action": "recall", "letter": LETTER}
    return CaseNoticed(**{**said, "balls": 2, **fields})


def answered(*answers: dict[str, Any], **fields: Any) -> CaseAnswered:
    """What SHOP-1 says, by default that U-1 is sold."""
    told = tuple(BallAnswer(**answer) for answer in answers or ({"unit": "U-1", "said": "sold"},))
    return CaseAnswered(**{"at": at(22), "case": "C-1", "consignee": "SHOP-1", "answers": told, **fields})


def closed(**fields: Any) -> CaseClosed:
    """The case is contained."""
    return CaseClosed(**{"at": at(30), "case": "C-1", "decision": "contained", "reason": "all-back", **fields})
