"""A small plant in which everything happens that events tell of, and some of it was told wrongly at first."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from ledger.application.epcis import lot_events, serial_events
from ledger.evidence.event_shapes import parse_events
from ledger.evidence.withholding import Withholding
from ledger.store.reader import open_reader
from tests.application.floor import (
    Floor,
    at,
    blocks,
    cores,
    corrected,
    engraved,
    held,
    inspected,
    shells,
    worked,
)

STEM = "https://id.example.com"


def told_plant(folder: Path, url: str = "") -> Floor:
    """The plant, everything entered: U-1 was sold and came back, U-2 was read wrongly, U-3 and U-4 ended.

    In a file, or at ``url``.
    """
    floor = Floor(folder, url=url)
    floor.stock(60)
    floor.say(blocks("BL-2", 4, 40))
    floor.say(cores("CL-1", 30, ("BL-1", 20)), cores("CL-2", 30, ("BL-2", 20)))
    floor.say(shells("SL-1", 40, ("CL-1", 20), ("CL-2", 20)))
    _lots(floor)
    _balls(floor)
    _wrong(floor)
    return floor


def _lots(floor: Floor) -> None:
    regrind = {"kind": "material-received", "at": at(5), "lot": "RG-1", "material": "regrind", "kg": "2.5"}
    floor.say({**regrind, "from_lots": [{"lot": "BL-2", "amount": 3}, {"lot": "DRUM", "amount": 1500}]})
    floor.say({"kind": "lot-changed", "at": at(40.1), "lot": "SL-1", "count": 5, "what": "mould-set", "to": "MS-2"})
    floor.say(logged("SL-1"), worked("SL-1", "turned", 66))
    for count, how in ((2, "scrap"), (1, "destructive-test"), (1, "retained"), (1, "other")):
        lost = {"kind": "pieces-lost", "at": at(67), "lot": "BL-2", "count": count, "how": how, "reason": "chipped"}
        floor.say(lost)
    floor.say({"kind": "lot-recounted", "at": at(67.5), "lot": "BL-2", "left": 10, "reason": "stocktaking"})
    floor.say({"kind": "lot-split", "at": at(67.6), "lot": "BL-2", "into": "BL-3", "count": 4})
    parts = [{"lot": "BL-2", "count": 2}, {"lot": "BL-3", "count": 2}]
    floor.say({"kind": "lots-merged", "at": at(67.7), "into": "BL-4", "lots": parts})


def logged(lot: str) -> dict[str, Any]:
    """The summary of a temperature log of the final cure."""
    summary = {"readings": 60, "first_at": at(41), "last_at": at(65), "coldest_c": "19.5", "warmest_c": "23.25",
               "covered_ms": 86_400_000, "longest_ms": 1_500_000, "gap_limit_s": 3_600, "mean_c": "21.5"}  # fmt: skip
    said = {"kind": "temperature-logged", "at": at(66), "lot": lot, "stage": "final-cure", "digest": "d" * 64}
    return {**said, "length": 4_000, "summary": summary}


def _balls(floor: Floor) -> None:
    floor.say({"kind": "unit-started", "at": at(68), "unit": "U-1", "lot": "SL-1", "station": "T-1"})
    floor.say({"kind": "unit-worked", "at": at(69), "unit": "U-1", "step": "spin-tested", "station": "T-1"})
    floor.ball("U-1", "A120")
    floor.say(engraved_anew("U-1", "A129"))
    floor.say(held("H-1", 73, node="unit:U-1"), {"kind": "hold-lifted", "at": at(74), "hold": "H-1", "reason": "clear"})
    floor.book.release(["U-1"], "first", "release-1", floor.lead).result(30)
    shipment = {
        "kind": "shipment",
        "at": at(90),
        "shipment": "SH-1",
        "units": ["U-1"],
        "consignee": "Shop on the corner",
    }
    floor.say(shipment)
    floor.say({"kind": "returned", "at": at(95), "unit": "U-1", "reason": "surplus", "shipment": "SH-1"})
    floor.say({"kind": "restocked", "at": at(96), "unit": "U-1"})
    floor.say({"kind": "rework", "at": at(97), "unit": "U-1", "operation": "polish", "station": "F-1"})
    for number, how in ((3, "scrap"), (4, "destructive-test"), (5, "retained")):
        floor.ball(f"U-{number}", f"A12{number}")
        floor.say({"kind": "scrap", "at": at(80), "unit": f"U-{number}", "how": how, "reason": "crack"})


def engraved_anew(unit: str, serial: str) -> dict[str, Any]:
    """A new number on a ball."""
    said = {"kind": "ball-engraved-anew", "at": at(72), "unit": unit, "serial": serial, "station": "E-1"}
    return {**said, "reason": "misread", "scheme": "prior"}


def full_inspection(unit: str, hours: float, mass: tuple[str, ...]) -> dict[str, Any]:
    """An inspection with everything that one may state."""
    said = inspected(unit, hours, mass=mass[0], hardness="75", roughness="38")
    said["readings"][0] |= {"values": list(mass), "statistic": "mean", "expanded": "0.02"}
    said["readings"][1] |= {"values": ["74", "76", "75"], "statistic": "median"}
    said["readings"][2] |= {"values": ["36", "40"], "statistic": "range"}
    return {**said, "temperature_c": "23.5", "humidity_percent": "45", "delay_s": "1.0", "surface": "polished"}


def _wrong(floor: Floor) -> None:
    """U-2: a reading corrected twice; an inspection that was of U-6; one that never was."""
    floor.ball("U-2", "A122")
    floor.ball("U-6", "A126")
    first = floor.say(full_inspection("U-2", 80, ("15.1", "15.3"))).index
    moved = floor.say(inspected("U-2", 81, hardness="73")).index
    never = floor.say(inspected("U-2", 82, hardness="72")).index
    for mass in ("15.2", "15.25"):
        floor.say(corrected({"fact": f"{first}.0", "replacement": full_inspection("U-2", 80, (mass, "15.3"))}))
    floor.say(corrected({"fact": f"{moved}.0", "replacement": inspected("U-6", 81, hardness="73")}))
    floor.say(corrected({"fact": f"{never}.0"}))
    # A ball turned before its lot was made: a breach that holds it, conceded then.
    early = floor.say(engraved("U-7", "A127", 39)).index
    holds = [f"B{early}.0.{number}" for number in range(2)]
    floor.say({"kind": "concession", "at": at(85), "node": "unit:U-7", "holds": holds, "reason": "clock-wrong"})


def serial_document(floor: Floor, serial: str, opened: tuple[str, ...] = ()) -> dict[str, Any]:
    """A ball's document as plain JSON; it is held to the profile first."""
    with open_reader(floor.book.store) as reader:
        raw = serial_events(reader, serial, STEM, Withholding(opened=opened))
    return _plain(raw)


def lot_document(floor: Floor, lot: str, opened: tuple[str, ...] = ()) -> dict[str, Any]:
    """A lot's document as plain JSON; it is held to the profile first."""
    with open_reader(floor.book.store) as reader:
        raw = lot_events(reader, lot, STEM, Withholding(opened=opened))
    return _plain(raw)


def _plain(raw: bytes) -> dict[str, Any]:
    parse_events(raw)
    plain: dict[str, Any] = json.loads(raw)
    return plain


def events(document: dict[str, Any]) -> list[dict[str, Any]]:
    """The events of a document."""
    found: list[dict[str, Any]] = document["epcisBody"]["eventList"]
    return found
