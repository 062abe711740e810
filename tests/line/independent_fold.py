"""A second fold of the book, written another way: from the list of standing facts, as plain dicts, never calling effects.

It knows accounts, descent, balls and their serials, standing readings, holds, what is open or away, what was late or
doubtful, gauges, the plant's limits and policies, adopted files and erasures; the tests compare it with the live view
rows.  It looks at each fact's JSON and at the kinds by their names on the wire; what it tells of what lies beside it
(`story_lots`, `story_balls`, `story_office`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from typing import Any

import msgspec

from ledger.line.erasure_rows import ErasedField, ErasedName
from ledger.line.fact import Fact
from ledger.line.lots import left_of
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy, Measured
from ledger.line.rows import (
    ChecklistRow,
    Descent,
    FactRow,
    Hold,
    Lot,
    ModelJudged,
    PlantRules,
    ReleasePolicy,
    RulebookRow,
    SampleJudged,
    SerialRow,
    Shipped,
    Unit,
)
from ledger.line.temperature_rows import TemperatureLog
from tests.line import story_office
from tests.line.approvals_fold import approvals_shown, approvals_told
from tests.line.cases_fold import cases_shown, cases_told
from tests.line.claims_fold import shown_claims, told_claims
from tests.line.plant import Plant
from tests.line.story_balls import BallStory
from tests.line.story_office import OfficeStory
from tests.line.told_words import MADE, UNIT_MADE


class Story(BallStory, OfficeStory):
    """What the standing facts say, told fact by fact."""

    def __init__(self, said: story_office.Said) -> None:
        super().__init__()
        self.holds: dict[str, dict[str, Any]] = {}
        for fact, record in said:
            self._breach_holds(fact)
            if record["kind"] in {*MADE, "lot-split", "lots-merged"}:
                self.make_lot(fact, record)
            if record["kind"] == "gauge-registered":
                self.register_gauge(record)
            if record["kind"] == "model-defined":
                # With the first definition withdrawn, the next one is what the model begins with.
                self.revisions.setdefault(record["model"], record["revision"])
        early: defaultdict[str, list[tuple[Fact, dict[str, Any]]]] = defaultdict(list)
        making = {record["unit"] for _, record in said if record["kind"] in UNIT_MADE}
        for fact, record in said:
            unit = record.get("unit", "")
            if unit in making and unit not in self.units and record["kind"] not in UNIT_MADE:
                # A corrected fact may name a ball that was begun later: it follows what made the ball.
                early[unit].append((fact, record))
                continue
            for one in ((fact, record), *early.pop(unit, ())):
                self._tell(*one)

    def _tell(self, fact: Fact, record: dict[str, Any]) -> None:
        for parent, amount in self.takes.get(fact.address, ()):
            self.counts[parent].append(("less", amount))
        teller: Callable[[Fact, dict[str, Any]], None] | None = getattr(
            self, "_" + record["kind"].replace("-", "_"), None
        )
        if teller is not None:
            teller(fact, record)
        self.surfaces(fact, record)

    def _breach_holds(self, fact: Fact) -> None:
        own = [breach for breach in fact.breaches if fact.body or not isinstance(breach.change, int)]
        for number, breach in enumerate(own):
            if breach.holds:
                name = f"B{fact.body or fact.address}.{number}"
                self.holds[name] = {"node": breach.node, "stops": "release,shipment", "recall": False, "by": []}

    def _hold_placed(self, _fact: Fact, record: dict[str, Any]) -> None:
        stops = ",".join(sorted(record.get("stops", ("release", "shipment"))))
        hold = {"node": record.get("node", "rule"), "stops": stops, "recall": record.get("recall", False), "by": []}
        self.holds[record["hold"]] = hold

    def _hold_lifted(self, fact: Fact, record: dict[str, Any]) -> None:
        if record["hold"] in self.holds:
            self.holds[record["hold"]]["by"].append(fact.author)

    def _concession(self, fact: Fact, record: dict[str, Any]) -> None:
        for hold in record["holds"]:
            self._hold_lifted(fact, {"hold": hold})


def told(plant: Plant) -> dict[str, Any]:
    """What the standing facts say, in the shape of `shown`."""
    said = [(fact, msgspec.to_builtins(fact.record)) for fact in plant.facts()]
    story = Story(said)
    return {
        "lots": {
            name: (lot["made"], story.drawn[name], story.lost[name], story.left(name), "closed" in lot, lot["maker"])
            for name, lot in story.lots.items()
        },
        "edges": sorted(story.edges),
        "units": story.units,
        "serials": {unit: sorted(map(tuple, rows), key=repr) for unit, rows in story.serials.items() if rows},
        "read": {unit: {name: got[name][1] for name in got} for unit, got in story.read.items() if got},
        "measured": {unit: story.measured(unit) for unit, got in story.read.items() if got},
        "studied": story.studied,
        "holds": {
            name: (hold["node"], hold["stops"], len(set(hold["by"])) < (2 if hold["recall"] else 1))
            for name, hold in story.holds.items()
        },
        "away": story.away,
        "logged": story.logged,
        "judged": story.judged,
        "finishes": {name: finish for name, (finish, _) in story.finishes.items() if finish is not None},
        "gauges": story.gauges,
        "calibrated": story.calibrated,
        "marks": story_office.marks(said),
        "limits": story_office.limits(said),
        "policies": story_office.policies(said),
        "rulebooks": story_office.adopted(said, "rulebook"),
        "checklists": story_office.adopted(said, "checklist"),
        "erased": story_office.erased(said),
        **told_claims([fact for fact, _ in said]),
    }


def shown(plant: Plant) -> dict[str, Any]:
    """What the live view rows show of the same things."""
    rows: Callable[[Any], list[Any]] = lambda row: list(plant.tables.rows[row].values())  # noqa: E731  # any row class
    serials: defaultdict[str, list[tuple[Any, ...]]] = defaultdict(list)
    for row in rows(SerialRow):
        serials[row.unit].append((row.serial, row.since_ms, row.until_ms))
    read = {row.unit: {name: got[1] for name, got in _sources(row).items()} for row in rows(Measured)}
    columns = ("lot", "serial", "state", "grade", "release", "away")
    return {
        "lots": {lot.lot: (lot.made, lot.used, lot.lost, left_of(lot), lot.closed, lot.address) for lot in rows(Lot)},
        "edges": sorted((edge.child, edge.parent, edge.amount) for edge in rows(Descent)),
        "units": {unit.unit: {column: getattr(unit, column) for column in columns} for unit in rows(Unit)},
        "serials": {unit: sorted(found, key=repr) for unit, found in serials.items()},
        "read": {unit: got for unit, got in read.items() if got},
        "measured": {row.unit: _measured(row) for row in rows(Measured) if row.sources != "{}"},
        "studied": {row.study: _studied(row) for row in rows(GaugeStudy)},
        "holds": {hold.hold: (hold.node, hold.stops, hold.open) for hold in rows(Hold)},
        "judged": {row.sample: (row.lot, row.quantity, row.accepted) for row in rows(SampleJudged)}
        | {row.model_test: (row.model, row.revision, row.quantity, row.accepted) for row in rows(ModelJudged)},
        "logged": {row.log: _logged(row) for row in rows(TemperatureLog)},
        "away": {(row.unit, row.shipment): row.back_ms is None for row in rows(Shipped)},
        "finishes": {f"lot:{row.lot}": row.finish for row in rows(Lot) if row.finish is not None}
        | {f"unit:{row.unit}": row.finish for row in rows(Unit) if row.finish is not None},
        "marks": {row.address: (row.late, row.doubtful) for row in rows(FactRow) if row.standing},
        **_shown_of_office(rows),
    }


def _shown_of_office(rows: Callable[[Any], list[Any]]) -> dict[str, Any]:
    return {
        "gauges": {
            row.gauge: [row.quantity, row.unit, row.low_micro, row.high_micro, row.state] for row in rows(Gauge)
        },
        "calibrated": {
            row.calibration: (row.gauge, row.kind, row.good, row.at_ms, row.due_ms) for row in rows(Calibration)
        },
        "limits": {
            row.from_size: (row.late_ms, row.doubtful_ms, row.density_cap_micro, row.address)
            for row in rows(PlantRules)
        },
        "policies": {
            row.address: (
                *(row.from_size, row.decision, row.guard_r, msgspec.json.decode(row.quantities), row.house),
                [role for role in row.undecided_by.split(",") if role],
            )
            for row in rows(ReleasePolicy)
        },
        "rulebooks": {row.digest: (row.rulebook, row.adopted_ms, row.superseded) for row in rows(RulebookRow)},
        "checklists": {row.digest: (row.checklist, row.adopted_ms, row.superseded) for row in rows(ChecklistRow)},
        "erased": {row.field: (row.fact, row.address) for row in rows(ErasedField)}
        | {row.account: ("account", row.address) for row in rows(ErasedName)},
        **shown_claims(rows),
    }


def _studied(row: GaugeStudy) -> tuple[Any, ...]:
    scatter = None if row.pooled else row.repeatability
    return row.gauge, row.unit, row.at_ms, row.operators, row.trials, row.parts, row.pooled, scatter


def _logged(row: TemperatureLog) -> tuple[Any, ...]:
    file, degrees = (row.digest, row.length, row.readings), (row.coldest, row.warmest, row.mean)
    return row.lot, row.stage, *file, row.first_ms, row.last_ms, *degrees, row.gap_limit_s, row.gaps, row.longest_ms


def _sources(row: Measured) -> dict[str, Any]:
    """By quantity; one source of all is written once."""
    written: Any = msgspec.json.decode(row.sources)
    return written if isinstance(written, dict) else dict.fromkeys(msgspec.json.decode(row.manner), written)


def _measured(row: Measured) -> tuple[Any, ...]:
    manner = {
        name: (*got[:4], *(got[place] or None if place < len(got) else None for place in (4, 5, 6)))
        for name, got in msgspec.json.decode(row.manner).items()
    }
    copied = row.lot, row.weight_class, row.began_ms, row.engraved_ms
    return *copied, row.first_ms, row.last_ms, row.coldest, row.warmest, manner


def check_views(plant: Plant) -> None:
    """Live rows equal a rebuild, a fold of every node anew, and the independent fold; or an AssertionError says where."""
    live = plant.tables.listed()
    assert {} == unlike(live, plant.rebuilt().listed())
    assert {} == unlike(live, plant.refolded().listed())
    assert {} == unlike(shown(plant), told(plant))
    assert {} == unlike(cases_shown(plant), cases_told(plant.facts()))
    assert {} == unlike(approvals_shown(plant), approvals_told(plant.facts()))


def unlike(one: dict[str, Any], other: dict[str, Any]) -> dict[str, tuple[list[Any], list[Any]]]:
    """What only the one and what only the other has, by name of view."""
    return {
        name: ([row for row in held if row not in other[name]], [row for row in other[name] if row not in held])
        for name, held in _as_lists(one).items()
        if held != (other := _as_lists(other))[name]
    }


def _as_lists(shape: dict[str, Any]) -> dict[str, list[Any]]:
    return {name: sorted(rows.items()) if isinstance(rows, dict) else rows for name, rows in shape.items()}
