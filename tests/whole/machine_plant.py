"""The plant that the store machine starts from, and the ways in which it says a record otherwise."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from ledger.book.instant import instant_ms
from ledger.line.balls import BallEngraved
from ledger.line.checklists import ChecklistAdopted
from ledger.line.cure_temperatures import TemperatureLogged
from ledger.line.inspections import Inspection
from ledger.line.lot_changes import PiecesLost
from ledger.line.models import RulebookAdopted
from ledger.line.moulding import BlocksMoulded, CoresPoured, ShellsPoured
from ledger.line.plant_rules import PlantRulesSet
from ledger.line.record import Record
from ledger.line.release_policy import ReleasePolicySet
from ledger.line.submission import Submission
from ledger.line.temperature_log import NINTHS, Logged
from ledger.line.temperature_summary import summarize
from ledger.store.engine import open_store
from tests.line import making
from tests.plant import new_writer, opening

STARTED = ("U-01", "U-02", "U-03")
"""The balls that are there from the start."""


def said(key: str, *records: Record) -> Submission:
    """A submission of typed records."""
    return Submission(key=key, records=tuple(records))


def ball(unit: str, lot: str, value: str = "15.05") -> tuple[Record, Record]:
    """A ball engraved with a number like its id, and weighed."""
    engraved = making.engraving(unit, f"P{unit[2:]}", lot=lot, scheme="prior")
    return engraved, making.inspection(unit, making.reading(value=value))


def template_book(folder: Path) -> Path:
    """A store with a model, its plan, gauges, batches, a chain of lots, and three balls that were weighed."""
    path = folder / "template.db"
    store = open_store(f"sqlite:///{path}")
    writer = new_writer(store)
    writer.start()
    plant = making.model(), making.plan(rulebooks=()), *making.gauge("G-MASS", "mass", "lb")
    sums = [
        said("plant", *plant, *making.gauge("G-HARD", "hardness", "shore_d")),
        said("material", making.material("RESIN", kg="90000"), making.material("FILLER", kg="90000")),
        said("mix-b", making.batch("MIX-B", ("RESIN", "9000"), ("FILLER", "9000"))),
        said("mix-cr", making.batch("MIX-C", ("RESIN", "9000")), making.batch("MIX-R", ("RESIN", "9000"))),
    ]
    sums += [
        said(
            "pours", making.blocks("BL-0", 20), making.cores("CL-0", ("BL-0", 20)), making.shells("SL-0", ("CL-0", 20))
        )
    ]
    sums += [said(f"ball-{unit}", *ball(unit, "SL-0")) for unit in STARTED]
    sums.append(said("sampled", making.sample(lot="SL-0")))
    for submission in [opening(), *sums]:
        writer.submit(submission, "a-lead").result(30)
    writer.stop()
    store.close()
    return path


def otherwise(record: Record, number: int) -> Any:
    """A record with another figure in it; None for a kind that is only ever withdrawn here."""
    if number > 6:
        return None
    match record:
        case BlocksMoulded():
            return msgspec.structs.replace(record, count=number)
        case CoresPoured() | ShellsPoured():
            late = {"began_at": making.at(8, "08:00"), "at": making.at(8, "08:20")}
            return (
                msgspec.structs.replace(record, **late) if number % 2 else msgspec.structs.replace(record, count=number)
            )
        case BallEngraved():
            return msgspec.structs.replace(record, serial=f"P{1000 + number}")
        case Inspection(unit=str() as unit):
            return making.inspection(unit, making.reading(value="14.50"))
        case PiecesLost():
            return msgspec.structs.replace(record, count=number)
        case _:
            return None


def of_the_plant(what: int, lot: str, number: int) -> Record:
    """What a plant says of itself or of a rack: a policy, limits, a study, a log, an adopted file, another plan."""
    at, digest = making.at(15), "def"[number % 3] * 64
    log = [Logged(instant_ms(at) + place * 1_800_000, (18 + number) * NINTHS) for place in range(3)]
    policy = ReleasePolicySet(at=at, decision="guarded", house="needed" if number % 2 else "shown")
    records: tuple[Record, ...] = (
        policy,
        PlantRulesSet(at=at, late_s=60 * (number + 1)),
        making.studied(at=at, pooled=number % 2 == 0),
        TemperatureLogged(
            at=making.at(16), lot=lot, stage="core-rest", digest=digest, length=9, summary=summarize(log, 3_600)
        ),
        ChecklistAdopted(at=at, checklist=f"list-{number % 2}", digest=digest),
        RulebookAdopted(at=at, rulebook=f"body-{number % 2}", digest=digest),
    )
    return records[what]
