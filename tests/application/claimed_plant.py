"""A plant with three shell lots of thirty balls, sold for 200 days; claims, most of them on the second lot."""

from __future__ import annotations

from pathlib import Path

from tests.application.floor import HOUR_MS, START_MS, Floor, at, blocks, claimed, cores, engraved, shells, worked

SALE_HOUR = 100
LOOKED_HOUR = SALE_HOUR + 200 * 24
BALLS = 30
BAD_CLAIMS = 14


def unit_of(lot: int, number: int) -> str:
    """The unit id of a ball of a lot."""
    return f"U-{lot}-{number:02d}"


def claimed_plant(folder: Path) -> Floor:
    """The plant, at 200 days after the sale. Lot SL-2 holds cores of CL-2 alone, SL-3 of CL-1 or CL-3."""
    floor = Floor(folder)
    floor.stock(200)
    floor.say(blocks("BL-2", 3, 200, mould_set="MS-2"))
    floor.say(cores("CL-1", 30, ("BL-1", 45)), cores("CL-2", 30, ("BL-2", BALLS), mould_set="MS-2"))
    floor.say(cores("CL-3", 30, ("BL-1", 15)))
    floor.say(shells("SL-1", 40, ("CL-1", BALLS)), worked("SL-1", "turned", 66))
    floor.say(shells("SL-2", 41, ("CL-2", BALLS), line="L-2"), worked("SL-2", "turned", 67))
    floor.say(shells("SL-3", 42, ("CL-1", 15), ("CL-3", 15)), worked("SL-3", "turned", 68))
    for lot in (1, 2, 3):
        units = [unit_of(lot, number) for number in range(BALLS)]
        floor.say(*(engraved(unit, f"N-{unit}", 75, lot=f"SL-{lot}") for unit in units))
        sent = {
            "kind": "shipment",
            "shipment": f"SH-{lot}",
            "units": units,
            "consignee": "a shop",
            "purpose": "warranty",
        }
        floor.say({**sent, "at": at(SALE_HOUR)})
    hits = [(2, number) for number in range(BAD_CLAIMS)] + [(1, 3), (3, 4)]
    floor.now_ms = START_MS + LOOKED_HOUR * HOUR_MS
    for place, (lot, number) in enumerate(hits):
        serial = f"N-{unit_of(lot, number)}"
        floor.say(claimed(f"CL-{place}", SALE_HOUR + 24 * (20 + 5 * place), serial=serial))
    floor.say(claimed("CL-X", 2_000, serial="NOBODY"))
    return floor
