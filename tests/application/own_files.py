"""A plant's own rulebook and checklist, and balls read with a stated uncertainty, for tests of the application."""

from __future__ import annotations

from typing import Any

from ledger.application.adopting import rulebook_adoption
from ledger.line.record import Record
from tests.application.floor import GAUGES, GOOD, Floor, at, gauge_of, plan, record

OWN = b"""format = 1
id = "own-limits"
body = "Plant"
edition = "1"
title = "Limits of the plant"
made_event = "engraving"

[[requirement]]
id = "own.hardness"
row = "PLANT-1"
quantity = "hardness"
operator = ">="
limits = ["73"]
unit = "shore_d"
clock = "manufacture"
decision = "three_way"
source = "plant standard"
provenance = "read"
"""
STRICTER = OWN.replace(b'"73"', b'"80"').replace(b'edition = "1"', b'edition = "2"')
BROKEN = OWN.replace(b'">="', b'"above"')
BROKEN_LINE = 12

CHECKLIST = b"""format = 1
id = "own-submission"
body = "Plant"
title = "What goes with a model"

[[item]]
id = "samples"
text = "Five balls"
balls = 5
provenance = "memory"
source = "plant standard"
"""


def adopt(floor: Floor, raw: bytes = OWN, key: str = "adopt") -> Any:
    """Adopt a rulebook in the lead's name; the entry."""
    return floor.book.adopt(rulebook_adoption, raw, key, floor.lead)[1].result(30)


def judged_by_own(floor: Floor, raw: bytes = OWN) -> None:
    """From hour 60 on the plan names the plant's own rulebook beside the body's."""
    adopt(floor, raw)
    floor.say(plan("M1", at=at(60), rulebooks=["usbc-2026", "own-limits"]))


def doubted(floor: Floor, unit: str, serial: str, hardness: str = "74", expanded: str = "4") -> str:
    """A ball whose hardness is read with a stated U; everything else is good. Gives the fact that read it."""
    readings = [
        {"quantity": quantity, "unit": GAUGES[quantity], "values": [value], "gauge": gauge_of(quantity)}
        for quantity, value in {**GOOD, "hardness": hardness}.items()
    ]
    for one in readings:
        if one["quantity"] == "hardness":
            one["expanded"] = expanded
    engraved = {"kind": "ball-engraved", "at": at(70), "unit": unit, "lot": "SL-1", "serial": serial, "station": "E-1"}
    read = {"kind": "inspection", "at": at(71), "unit": unit, "station": "I-1", "readings": readings}
    return floor.say({**engraved, "weight_class": 15, "scheme": "prior"}, read).addresses[1]


def state_policy(floor: Floor, **fields: Any) -> str:
    """State a release policy; its address."""
    return floor.say(policy(**fields)).addresses[0]


def policy(**fields: Any) -> dict[str, Any]:
    """A policy of guarded acceptance, shown."""
    return {"kind": "release-policy-set", "at": at(80), "decision": "guarded", **fields}


def records(*fields: dict[str, Any]) -> tuple[Record, ...]:
    """Records from plain fields."""
    return tuple(record(one) for one in fields)
