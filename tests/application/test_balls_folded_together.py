"""Balls folded together from a dossier's entries are what each is by itself, whatever facts they share."""

from __future__ import annotations

import io

from ledger.book.canonical import MAX_ENTRY_BYTES
from ledger.book.entry import Entry, read_entry
from ledger.evidence.archive import Archive
from ledger.evidence.ball_rows import BallFold
from ledger.evidence.ball_sheet import BallRows
from ledger.evidence.dossier_layout import parse_layout
from ledger.evidence.entry_facts import EntryFacts, read_records
from ledger.line.record import Record
from tests.application.floor import Floor, at, corrected, engraved, held, inspected, shells
from tests.application.wanted_dossiers import closed, written

UNITS = [f"U-{number}" for number in range(1, 7)]


def told(floor: Floor) -> None:
    """Six balls: moved, renumbered, corrected onto another, reworked, released, sold together, one back, one held."""
    made = [floor.ball(unit, f"P-{unit}", place=number) for number, unit in enumerate(UNITS, 1)]
    floor.say({"kind": "unit-worked", "at": at(72), "unit": "U-1", "step": "polished", "station": "W-1"})
    floor.say({"kind": "ball-engraved-anew", "at": at(80), "unit": "U-3", "serial": "P-33", "station": "E-1",
               "reason": "cut-badly", "scheme": "prior"})  # fmt: skip
    second = floor.say(inspected("U-4", 81, mass="15.3"))
    floor.say(corrected({"fact": second.addresses[0], "replacement": inspected("U-5", 81, mass="15.3")}))
    floor.book.release(["U-4", "U-5", "U-6"], "first", "release", floor.lead).result(30)
    floor.say({"kind": "shipment", "at": at(100), "shipment": "SH-1", "units": ["U-4", "U-6"], "consignee": "a shop"})
    floor.say({"kind": "returned", "at": at(110), "shipment": "SH-1", "unit": "U-6", "reason": "unsold"})
    floor.say({"kind": "rework", "at": at(111), "unit": "U-6", "operation": "polish", "station": "W-1"})
    floor.say(held("H-1", 120, node="unit:U-5"))
    closed(floor, hours=130)
    floor.say(shells("SL-2", 41, ("CL-1", 1)))
    floor.say(corrected({"fact": made[1].addresses[0], "replacement": engraved("U-2", "P-U-2", lot="SL-2")}))


def test_together_is_as_alone(ready: Floor) -> None:
    """Every row, in any order and any company."""
    told(ready)
    archive = Archive(io.BytesIO(written(ready, lots=("SL-1",))))
    layout = parse_layout(archive.names)
    facts = EntryFacts(lambda unit: unit in layout.units)
    entries: dict[int, tuple[Entry, tuple[Record, ...]]] = {}
    for index in layout.indexes:
        entry = read_entry(archive.read(f"entries/{index}.json", MAX_ENTRY_BYTES))
        entries[index] = (entry, read_records(entry.said.records, "entry"))
        facts.take(*entries[index])
    facts.settle()
    fold = BallFold(facts)
    said = {unit: facts.unit_facts(unit, entries.__getitem__) for unit in layout.units}
    alone: dict[str, BallRows] = {unit: fold.rows_of(unit, said[unit], unit) for unit in said}
    assert UNITS == list(layout.units)
    for company in (UNITS, UNITS[::-1], UNITS[:2], UNITS[2:5]):
        assert {unit: alone[unit] for unit in company} == fold.rows({unit: said[unit] for unit in company})
