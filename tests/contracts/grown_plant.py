"""A plant with some thousand balls in some hundred lots, and what happens to them: enough that a database has to choose."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from api.delivery import Delivery
from ledger.application.pourbook import Pourbook
from tests.application.floor import (
    GOOD,
    HOUR_MS,
    START_MS,
    Floor,
    at,
    blocks,
    claimed,
    cores,
    engraved,
    held,
    inspected,
    mixed,
    shells,
    worked,
)
from tests.plant import said

LOTS = 300
POURED, BALLS = 20, 12
"""Pieces in each lot, and balls that were engraved in it."""

SHIPPED, CLAIMED, HELD = 120, 300, 300
"""Lots that were sold whole, balls that were claimed, and balls that are held."""


def unit_of(number: int) -> str:
    """The unit id of a ball by number."""
    return f"U-{number:05d}"


def serial_of(number: int) -> str:
    """Its number on the ball."""
    return f"N{number:05d}"


def grown_plant(folder: Path, url: str) -> Floor:
    """The plant, its book closed again."""
    floor = Floor(folder, url=url)
    floor.now_ms = START_MS + 2_000 * HOUR_MS
    drum = {"kind": "material-received", "at": at(1), "lot": "DRUM", "material": "resin", "kg": "900000"}
    floor.say({**drum, "supplier": "Acme", "supplier_lot": "X-1", "note": "brought by Bob"})
    floor.say(mixed("MIX", "DRUM", 100_000, 2))
    _together(floor, [_lot(number) for number in range(LOTS)])
    _together(floor, [_ball(number) for number in range(LOTS * BALLS)])
    _together(floor, [[_sent(lot)] for lot in range(SHIPPED)])
    told: list[list[dict[str, Any]]] = [
        [claimed(f"C-{number}", 1_500, serial=serial_of(number))] for number in range(0, 3 * CLAIMED, 3)
    ]
    last = LOTS * BALLS - 1
    told += [[held(f"H-{number}", 1_500, node=f"unit:{unit_of(last - number)}")] for number in range(HELD)]
    _together(floor, told)
    floor.book.close()
    return floor


def serving_book(floor: Floor, delivery: Delivery) -> Pourbook:
    """The plant's book, opened again and started for a service that answers one question at a time.

    It has one connection beside the writer's, so that a question that needs two at once fails.
    """
    book = floor.opened(deliver=delivery, connections=2)
    book.start()
    return book


def _together(floor: Floor, told: list[list[dict[str, Any]]]) -> None:
    """Say many submissions, and wait for all of them."""
    kind = told[0][0]["kind"]
    waiting = [floor.book.submit(said(f"{kind}-{number}", *records), floor.lead) for number, records in enumerate(told)]
    for one in waiting:
        one.result(120)


def _lot(number: int) -> list[dict[str, Any]]:
    hours = 3.0 + number / 300
    return [
        blocks(f"BL-{number}", hours, POURED),
        cores(f"CL-{number}", hours + 30, (f"BL-{number}", POURED)),
        shells(f"SL-{number}", hours + 40, (f"CL-{number}", POURED)),
        worked(f"SL-{number}", "turned", hours + 66),
    ]


def _ball(number: int) -> list[dict[str, Any]]:
    unit = unit_of(number)
    ball = engraved(unit, serial_of(number), 75, lot=f"SL-{number // BALLS}")
    return [ball, inspected(unit, 76, **{**GOOD, "mass": f"15.{number % 90:02d}"})]


def _sent(lot: int) -> dict[str, Any]:
    units = [unit_of(lot * BALLS + place) for place in range(BALLS)]
    sent = {"kind": "shipment", "shipment": f"SH-{lot}", "units": units, "consignee": "a shop"}
    return {**sent, "purpose": "warranty", "at": at(100)}
