"""Ready-made facts for the tests of the line: a model with its plan, gauges, materials, and lots down to engraved balls.

All figures are invented. Day 1 is 2026-01-01, in UTC where no offset is given.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from ledger.line.allotting import SerialsAllotted
from ledger.line.balls import BallEngraved
from ledger.line.construction import Construction
from ledger.line.gauge_studied import GaugeStudied
from ledger.line.gauges import GaugeCalibrated, GaugeRegistered
from ledger.line.inspections import Inspection, Reading, readings_digest
from ledger.line.materials import BatchMixed, MaterialDraw, MaterialReceived
from ledger.line.models import ApprovalEntered, ModelDefined, PlanSet, RulebookAdopted
from ledger.line.moulding import BlocksMoulded, ColourDraw, CoresPoured, PieceDraw, ShellsPoured
from ledger.line.process_plan import Inspect, Window
from ledger.line.reading_rows import Measured
from ledger.line.releases import Basis, Release
from ledger.line.rows import Counter
from ledger.line.samples import ModelVerdict, SampleVerdict
from ledger.line.serial import next_serials
from tests.line.plant import Entered, Plant

SERIAL_KEY = b"an invented key for tests only.."
RULEBOOK = "a" * 64
HOUR = 3600
DAY = 24 * HOUR

WINDOWS = (
    Window(stage="block-demould", min_s=360, max_s=1800),
    Window(stage="block-rest", min_s=DAY),
    Window(stage="core-demould", min_s=600),
    Window(stage="core-rest", min_s=4 * HOUR, max_s=60 * DAY),
    Window(stage="shell-demould", min_s=300),
    Window(stage="final-cure", min_s=DAY),
)
INSPECTED = (
    Inspect(quantity="mass", every="unit"),
    Inspect(quantity="hardness", every="sample", n=3, accept=0, reject=1),
)


SIZES = Construction(
    unit="in",
    diameter="8.5468",
    diameter_expanded="0.004",
    shell_thickness="0.75",
    shell_thickness_expanded="0.01",
    block_volume_cm3="900",
    block_volume_expanded_cm3="2",
)


def at(day: int, clock: str = "08:00", offset: str = "+00:00") -> str:
    """An instant on a day counted from 2026-01-01, at a time of day to the minute or second."""
    seconds = "" if clock.count(":") == 2 else ":00"
    return f"{date(2026, 1, 1) + timedelta(days=day - 1)}T{clock}{seconds}.000{offset}"


def model(**fields: Any) -> ModelDefined:
    """A symmetric model, ORBIT, with a GTIN of the example range."""
    said = {"at": at(1), "model": "ORBIT", "name": "Orbit", "brand": "Example", "gtin": "09521234000013", "revision": 1}
    return ModelDefined(**{**said, "core": "symmetric", **fields})


def plan(**fields: Any) -> PlanSet:
    """The plan of ORBIT with every window."""
    said: dict[str, Any] = {"at": at(1), "model": "ORBIT", "windows": WINDOWS, "inspect": INSPECTED}
    return PlanSet(**{**said, "rulebooks": ("body-a",), **fields})


def approval(**fields: Any) -> ApprovalEntered:
    """Body A approves ORBIT at revision 1 in classes 14 to 16."""
    said: dict[str, Any] = {"at": at(1), "model": "ORBIT", "body": "body-a", "revision": 1, "status": "approved"}
    return ApprovalEntered(**{**said, "from_on": "2026-01-01", "classes": (14, 15, 16), **fields})


def material(lot: str, **fields: Any) -> MaterialReceived:
    """A drum of 1,000 kg."""
    return MaterialReceived(**{"at": at(1, "09:00"), "lot": lot, "material": "urethane resin", "kg": "1000", **fields})


def batch(name: str, *draws: tuple[str, str], **fields: Any) -> BatchMixed:
    """A batch of material lots, kilograms each."""
    drawn = tuple(MaterialDraw(lot=lot, kg=kg) for lot, kg in draws)
    said = {"at": at(2, "07:30"), "began_at": at(2, "07:00"), "batch": name, "compound": "compound", "mixer": "MX-1"}
    return BatchMixed(**{**said, "draws": drawn, **fields})


def _pour(lot: str, began: str, ended: str) -> dict[str, Any]:
    machine = {"model": "ORBIT", "line": "L-1", "mould_set": "M-1", "mixer": "MX-1"}
    return {**machine, "lot": lot, "began_at": began, "at": ended}


def blocks(lot: str, count: int = 100, **fields: Any) -> BlocksMoulded:
    """Blocks of batch MIX-B, on day 3."""
    said = _pour(lot, at(3, "08:00"), at(3, "08:10"))
    return BlocksMoulded(**{**said, "count": count, "batches": (MaterialDraw(lot="MIX-B", kg="100"),), **fields})


def pieces(*drawn: tuple[str, int] | tuple[str, int, int, int]) -> tuple[PieceDraw, ...]:
    """Draws of pieces: lot and count, and the child's positions where they are known."""
    return tuple(
        PieceDraw(lot=draw[0], count=draw[1])
        if len(draw) == 2
        else PieceDraw(lot=draw[0], count=draw[1], first=draw[2], last=draw[3])
        for draw in drawn
    )


def cores(lot: str, *drawn: Any, **fields: Any) -> CoresPoured:
    """Cores of block lots, on day 5; good pieces are what was drawn."""
    said = _pour(lot, at(5, "08:00"), at(5, "08:30"))
    said["blocks"] = pieces(*drawn)
    said["count"] = sum(draw[1] for draw in drawn)
    return CoresPoured(**{**said, "batches": (MaterialDraw(lot="MIX-C", kg="50"),), **fields})


def shells(lot: str, *drawn: Any, **fields: Any) -> ShellsPoured:
    """Shells of core lots at 15 lb, on day 7; good pieces are what was drawn."""
    said = _pour(lot, at(7, "08:00"), at(7, "08:10"))
    said["cores"] = pieces(*drawn)
    said["count"] = sum(draw[1] for draw in drawn)
    colours = (ColourDraw(colour="red", lot="MIX-R", kg="20"),)
    return ShellsPoured(**{**said, "revision": 1, "weight_class": 15, "colours": colours, **fields})


def gauge(name: str, quantity: str, unit: str, **fields: Any) -> tuple[GaugeRegistered, GaugeCalibrated]:
    """A gauge, found good on day 1 and due on day 200."""
    return (
        registered(name, quantity, unit),
        GaugeCalibrated(**{"at": at(1, "08:30"), "gauge": name, "as_found_good": True, "due_at": at(200), **fields}),
    )


def registered(name: str, quantity: str, unit: str, **fields: Any) -> GaugeRegistered:
    """A gauge with steps of a hundredth, registered on day 1."""
    said = {"at": at(1), "gauge": name, "quantity": quantity, "unit": unit, "resolution": "0.01"}
    return GaugeRegistered(**{**said, **fields})


def studied(gauge: str = "G-MASS", **fields: Any) -> GaugeStudied:
    """A study of a gauge on day 2: two operators read two master pieces twice, in lb."""
    said: dict[str, Any] = {"at": at(2), "gauge": gauge, "unit": "lb", "parts": ("P-1", "P-2"), "trials": 2}
    said["readings"] = ((("15.00", "15.10"), ("15.02", "15.12")), (("15.01", "15.11"), ("15.03", "15.13")))
    return GaugeStudied(**{**said, "operators": ("OP-1", "OP-2"), "pooled": False, **fields})


def ready_plant() -> Plant:
    """A plant with a model, its plan and approval, gauges, materials and batches: nothing is poured yet."""
    plant = Plant()
    plant.submit(model(), plan(), RulebookAdopted(at=at(1), rulebook="body-a", digest=RULEBOOK), approval())
    plant.submit(*gauge("G-MASS", "mass", "lb"), *gauge("G-HARD", "hardness", "shore_d"))
    plant.submit(material("RESIN"), material("FILLER", material="barium sulphate"))
    plant.submit(
        batch("MIX-B", ("RESIN", "200"), ("FILLER", "200")),
        batch("MIX-C", ("RESIN", "200")),
        batch("MIX-R", ("RESIN", "200")),
    )
    return plant


def stocked_plant(count: int = 20) -> Plant:
    """A ready plant with block lot BL-1, core lot CL-1 and shell lot SL-1 of ``count`` each, all as planned."""
    plant = ready_plant()
    plant.submit(blocks("BL-1", count))
    plant.submit(cores("CL-1", ("BL-1", count)))
    plant.submit(shells("SL-1", ("CL-1", count)))
    return plant


def allot(plant: Plant, count: int = 1, **fields: Any) -> list[str]:
    """The next own-scheme serials, allotted to a station."""
    counter = plant.row(Counter, "own")
    first = 0 if counter is None else counter.next
    serials = next_serials(SERIAL_KEY, first, count)
    plant.submit(
        SerialsAllotted(**{"at": at(1), "station": "ENGRAVE-1", "first": first, "serials": tuple(serials), **fields})
    )
    return serials


def engraving(unit: str, serial: str, **fields: Any) -> BallEngraved:
    """An engraving on a ball of SL-1, on day 9."""
    said = {"at": at(9), "unit": unit, "lot": "SL-1", "serial": serial, "weight_class": 15, "station": "ENGRAVE-1"}
    return BallEngraved(**{**said, **fields})


def engrave(plant: Plant, unit: str, **fields: Any) -> str:
    """Allot a serial and engrave it; gives the serial."""
    serial = allot(plant)[0]
    plant.submit(engraving(unit, serial, **fields))
    return serial


def reading(quantity: str = "mass", value: str = "15.10", **fields: Any) -> Reading:
    """A reading of a ball, by default its mass in lb."""
    unit, name = {"mass": ("lb", "G-MASS"), "hardness": ("shore_d", "G-HARD")}.get(quantity, ("", ""))
    return Reading(**{"quantity": quantity, "unit": unit, "values": (value,), "gauge": name, **fields})


def inspection(unit: str, *readings: Reading, **fields: Any) -> Inspection:
    """An inspection of a ball on day 10, by default its mass."""
    return Inspection(**{"at": at(10), "unit": unit, "station": "QC-1", "readings": readings or (reading(),), **fields})


def sample(**fields: Any) -> SampleVerdict:
    """The hardness sample of SL-1, accepted."""
    said: dict[str, Any] = {"at": at(10), "lot": "SL-1", "quantity": "hardness", "n": 3, "nonconforming": 0}
    return SampleVerdict(**{**said, "accepted": True, "rests_on": "b" * 64, **fields})


def type_test(**fields: Any) -> ModelVerdict:
    """The type test of ORBIT for its hardness, accepted."""
    said: dict[str, Any] = {"at": at(10), "model": "ORBIT", "quantity": "hardness", "n": 5, "nonconforming": 0}
    return ModelVerdict(**{**said, "accepted": True, "rests_on": "c" * 64, **fields})


def release(plant: Plant, unit: str, **fields: Any) -> Release:
    """A release at first quality on the readings that stand, by the first plan, conforming by body A."""
    measured: Measured | None = plant.row(Measured, unit)
    basis = Basis(rulebook="body-a", digest=RULEBOOK, outcome="conforms")
    said = {"at": at(11), "unit": unit, "grade": "first", "readings": readings_digest(measured), "plan": "0.1"}
    return Release(**{**said, "bases": (basis,), **fields})


def released_ball(plant: Plant, unit: str = "U-1") -> Entered:
    """Engrave, inspect, sample and release a ball of SL-1."""
    engrave(plant, unit)
    plant.submit(inspection(unit), sample())
    return plant.submit(release(plant, unit))
