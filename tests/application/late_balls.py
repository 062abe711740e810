"""First-quality balls that are read again afterwards, and the duties of the plant, for tests of what holds them."""

from __future__ import annotations

from typing import Any

from ledger.application.failing_readings import failing_units
from ledger.duties.late_readings import AFTER_RELEASE
from ledger.duties.rechecks import DUTIES
from ledger.duties.runner import DutyRunner
from ledger.line.submission import Submission
from tests.application.floor import Floor, at, inspected


def runner(floor: Floor, holder: str = "one") -> DutyRunner:
    """A runner as a service wires it; its turns are called by hand."""

    def say(submission: Submission) -> Any:
        return floor.book._writer.submit(submission, DUTIES)

    return DutyRunner(floor.book.store, say, holder=holder, clock_ms=floor.clock, every_s=3_600, failing=failing_units)


def first_ball(floor: Floor, unit: str, serial: str) -> None:
    """A ball that is measured well and released as first quality."""
    floor.ball(unit, serial)
    floor.book.release([unit], "first", f"first-{unit}", floor.lead).result(30)


def read_again(floor: Floor, unit: str, hours: float = 90, hardness: str = "60") -> str:
    """Read a ball's hardness; the address of the reading. The rulebook asks for 73 (usbc.hardness)."""
    return str(floor.say(inspected(unit, hours, hardness=hardness)).addresses[0])


def sold(shipment: str, *units: str, purpose: str = "sale") -> dict[str, Any]:
    """A shipment."""
    said = {"kind": "shipment", "at": at(120), "shipment": shipment, "units": list(units)}
    return {**said, "consignee": "A shop", "purpose": purpose}


def late_holds(floor: Floor, unit: str) -> list[tuple[str, str, bool]]:
    """The holds on a ball for a reading after its release: id, what it stops, whether it is open."""
    holds = floor.book.ball(unit).holds
    return [(one.hold, one.stops, one.open) for one in holds if one.reason == AFTER_RELEASE]
