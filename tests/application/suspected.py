"""Suspects and cases on the floor: lots of both certainties, balls in every place, and what is said of a case."""

from __future__ import annotations

from typing import Any

from ledger.application.suspect_set import SuspectSet
from ledger.line.suspects import Suspect
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, blocks, cores, engraved, held, inspected, shells


def mixed_floor(floor: Floor) -> Floor:
    """SL-1 holds cores of CL-1 (places 1 to 5) and CL-2 (6 to 10), SL-2 either, SL-3 of CL-2 alone; each its own block lot.

    Balls A-1, A-7 with their places and A-0 without are of SL-1, B-1 and B-2 of SL-2, C-1 of SL-3. CL-2 was poured on line
    L-2, SL-3 in mould set MS-3; B-2 was engraved at E-2, C-1 weighed with another gauge.
    """
    floor.stock(40)
    floor.say(blocks("BL-2", 4, 40))
    floor.say(cores("CL-1", 30, ("BL-1", 40)), cores("CL-2", 31, ("BL-2", 40), line="L-2"))
    floor.say(shells("SL-1", 40, ("CL-1", 5, 1, 5), ("CL-2", 5, 6, 10)))
    floor.say(shells("SL-2", 41, ("CL-1", 5), ("CL-2", 5)), shells("SL-3", 42, ("CL-2", 5), mould_set="MS-3"))
    for unit, lot, fields in (
        ("A-1", "SL-1", {"place": 1}), ("A-7", "SL-1", {"place": 7}), ("A-0", "SL-1", {}),
        ("B-1", "SL-2", {}), ("B-2", "SL-2", {"station": "E-2"}), ("C-1", "SL-3", {}),
    ):  # fmt: skip
        floor.say(engraved(unit, f"P-{unit}", 70, lot=lot, **fields))
    floor.say(inspected("C-1", 71, mass="15.1"))
    return floor


def register(floor: Floor, *consignees: str) -> None:
    """Register consignees, each a shop of its own."""
    for consignee in consignees:
        said = {"kind": "consignee-registered", "at": at(80), "consignee": consignee, "market": "north"}
        floor.say({**said, "name": f"Shop {consignee}", "address": "1 High Street\nSampleton"})


def ship(floor: Floor, shipment: str, *units: str, hours: float = 81, **fields: Any) -> None:
    """Balls leave as samples."""
    said = {"kind": "shipment", "at": at(hours), "shipment": shipment, "units": list(units), "purpose": "sample"}
    floor.say({**said, **fields})


def suspect_set(floor: Floor, **fields: Any) -> dict[str, str]:
    """Every ball below a suspect, and how surely."""
    with open_reader(floor.book.store) as reader:
        return {one.ball.unit: one.certainty for one in SuspectSet(reader, Suspect(**fields)).balls()}


def opening(case: str = "C-1", **suspect: Any) -> dict[str, Any]:
    """A case, by default on block lot BL-1."""
    suspect = suspect or {"sort": "block-lot", "name": "BL-1"}
    return {"kind": "case-opened", "at": at(90), "case": case, "why": "found", "reason": "soft", "suspect": suspect}


def recall(floor: Floor, case: str = "C-1", **suspect: Any) -> None:
    """Open a case and recall by one hold on BL-1."""
    node = {"node": "lot:BL-1", "recall": True}
    order = {"kind": "case-ordered", "at": at(90), "case": case, "action": "recall", "holds": [f"{case}.1"]}
    floor.say(opening(case, **suspect), held(f"{case}.1", 90, **node), order)


def answered(consignee: str, *answers: dict[str, Any], case: str = "C-1", hours: float = 100) -> dict[str, Any]:
    """What a consignee says."""
    said = {"kind": "case-answered", "at": at(hours), "case": case, "consignee": consignee}
    return {**said, "answers": list(answers)}
