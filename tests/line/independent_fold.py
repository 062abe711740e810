"""A second fold of the book, written another way: from the list of standing facts, as plain dicts, never calling effects.

It knows accounts, descent, balls and their serials, standing readings, holds, what is open or away, and what was late or
doubtful; the tests compare it with the live view rows.  It looks at each fact's JSON and at the kinds by their names on the wire.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any

import msgspec

from ledger.book.instant import instant_ms
from ledger.line.fact import Fact
from ledger.line.lots import left_of
from ledger.line.reading_rows import GaugeStudy, Measured
from ledger.line.rows import (
    ChecklistRow,
    Descent,
    FactRow,
    Hold,
    Lot,
    ModelJudged,
    ReleasePolicy,
    SampleJudged,
    SerialRow,
    Shipped,
    Unit,
)
from ledger.line.temperature_rows import TemperatureLog
from ledger.line.vocabulary import KIND_OF
from tests.line.plant import Plant
from tests.line.told_words import ENDS, LEFT, MADE, SPOILT, UNIT_MADE


class Story:
    """What the standing facts say, told fact by fact."""

    def __init__(self, facts: Iterable[Fact]) -> None:
        self.lots: dict[str, dict[str, Any]] = {}
        self.drawn: defaultdict[str, int] = defaultdict(int)
        self.lost: defaultdict[str, int] = defaultdict(int)
        self.edges: list[tuple[str, str, int]] = []
        self.units: dict[str, dict[str, Any]] = {}
        self.serials: defaultdict[str, list[list[Any]]] = defaultdict(list)
        self.holds: dict[str, dict[str, Any]] = {}
        self.read: defaultdict[str, dict[str, tuple[int, str, tuple[Any, ...]]]] = defaultdict(dict)
        self.begun: dict[str, list[int | None]] = {}
        self.studied: dict[str, tuple[str, int, int, int, bool]] = {}
        self.spoilt: defaultdict[str, dict[str, int]] = defaultdict(dict)
        self.away: dict[tuple[str, str], bool] = {}
        self.counts: defaultdict[str, list[tuple[str, int]]] = defaultdict(list)
        self.takes: dict[str, list[tuple[str, int]]] = {}
        self.judged: dict[str, tuple[Any, ...]] = {}
        self.logged: dict[str, tuple[Any, ...]] = {}
        self.revisions: dict[str, int] = {}
        self.finishes: dict[str, tuple[str | None, int]] = {}
        said = [(fact, msgspec.to_builtins(fact.record)) for fact in facts]
        for fact, record in said:
            self._breach_holds(fact)
            if record["kind"] in {*MADE, "lot-split", "lots-merged"}:
                self._lot(fact, record)
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
        self._surfaces(fact, record)

    def _surfaces(self, fact: Fact, record: dict[str, Any]) -> None:
        """How a lot or a ball is finished: by the latest step or rework; heirs begin as what they are made of was."""
        step = LEFT.get(record["operation"]) if record["kind"] == "rework" else record.get("step")
        if record["kind"] in {"lot-split", "lots-merged"}:
            parents = {lot for lot, _ in self.takes[fact.address]}
            known = [self.finishes.get(f"lot:{lot}", (None, 0)) for lot in parents]
            same = known[0][0] if len({finish for finish, _ in known}) == 1 else None
            self.finishes[f"lot:{record['into']}"] = same, 0
        elif step in {"sanded", "polished", "unstated"}:
            name = f"unit:{record['unit']}" if "unit" in record else f"lot:{record['lot']}"
            if fact.at_ms >= self.finishes.get(name, (None, 0))[1]:
                self.finishes[name] = step, fact.at_ms

    def _breach_holds(self, fact: Fact) -> None:
        own = [breach for breach in fact.breaches if fact.body or not isinstance(breach.change, int)]
        for number, breach in enumerate(own):
            if breach.holds:
                name = f"B{fact.body or fact.address}.{number}"
                self.holds[name] = {"node": breach.node, "stops": "release,shipment", "recall": False, "by": []}

    def _lot(self, fact: Fact, record: dict[str, Any]) -> None:
        kind = record["kind"]
        if kind == "lot-split":
            takes, name = [(record["lot"], record["count"])], record["into"]
        elif kind == "lots-merged":
            takes, name = [(part["lot"], part["count"]) for part in record["lots"]], record["into"]
        else:
            takes, name = list(_takes(record)), record.get("lot") or record["batch"]
        made = sum(amount for _, amount in takes) if kind in {"batch-mixed", "lot-split", "lots-merged"} else 0
        made = _grams(record["kg"]) if kind == "material-received" else made or record.get("count", 0)
        self.lots[name] = {"made": made, "maker": fact.address}
        self.takes[fact.address] = takes
        for parent, amount in takes:
            self.drawn[parent] += amount
            self.edges.append((name, parent, amount))

    def _pieces_lost(self, _fact: Fact, record: dict[str, Any]) -> None:
        self.lost[record["lot"]] += record["count"]
        self.counts[record["lot"]].append(("less", record["count"]))

    def _lot_recounted(self, _fact: Fact, record: dict[str, Any]) -> None:
        self.counts[record["lot"]].append(("left", record["left"]))

    def left(self, lot: str) -> int:
        """What is left of a lot by its own history: taken from, and counted again."""
        left: int = self.lots[lot]["made"]
        for what, amount in self.counts[lot]:
            left = amount if what == "left" else left - amount
        return left

    def _temperature_logged(self, fact: Fact, record: dict[str, Any]) -> None:
        told = record["summary"]
        ends = [int(Decimal(told[end]) * 10**6) for end in ("coldest_c", "warmest_c")]
        self.logged[fact.address] = (record["lot"], record["stage"], *ends, told.get("gap_count", 0))

    def _lot_closed(self, _fact: Fact, record: dict[str, Any]) -> None:
        self.lots[record["lot"]]["closed"] = True

    def _unit_started(self, fact: Fact, record: dict[str, Any]) -> None:
        unit = {"lot": record["lot"], "serial": None, "state": "made", "grade": None, "release": None, "away": None}
        self.units[record["unit"]] = unit
        self.begun[record["unit"]] = [None, fact.at_ms, None]
        self.drawn[record["lot"]] += 1
        self.counts[record["lot"]].append(("less", 1))

    def _ball_engraved(self, fact: Fact, record: dict[str, Any]) -> None:
        if record["unit"] not in self.units:
            self._unit_started(fact, record)
        unit = self.units[record["unit"]]
        unit["serial"] = record["serial"]
        self.begun[record["unit"]][::2] = record["weight_class"], fact.at_ms
        unit["state"] = "engraved" if unit["state"] == "made" else unit["state"]
        self.serials[record["unit"]].append([record["serial"], fact.at_ms, None])

    def _ball_engraved_anew(self, fact: Fact, record: dict[str, Any]) -> None:
        for row in self.serials[record["unit"]]:
            row[2] = fact.at_ms if row[2] is None else row[2]
        self.serials[record["unit"]].append([record["serial"], fact.at_ms, None])
        self.units[record["unit"]]["serial"] = record["serial"]

    def _inspection(self, fact: Fact, record: dict[str, Any]) -> None:
        if "unit" not in record:
            return
        standing, spoilt = self.read[record["unit"]], self.spoilt[record["unit"]]
        for reading in record["readings"]:
            name = reading["quantity"]
            if fact.at_ms >= max(spoilt.get(name, 0), standing[name][0] if name in standing else 0):
                taken = tuple(reading.get(part, "single") for part in ("unit", "gauge", "statistic"))
                surface, delay, degrees = (record.get(part) for part in ("surface", "delay_s", "temperature_c"))
                how = (*taken, len(reading["values"]), surface, delay, degrees)
                standing[name] = (fact.at_ms, fact.address, how)

    def _gauge_studied(self, fact: Fact, record: dict[str, Any]) -> None:
        counts = len(record["operators"]), record["trials"], len(record["parts"])
        self.studied[fact.address] = (record["gauge"], *counts, record["pooled"])

    def measured(self, unit: str) -> tuple[Any, ...]:
        """What the columns beside the values say of a ball's standing readings."""
        read = self.read[unit]
        instants = [at_ms for at_ms, _, _ in read.values()]
        degrees = [how[-1] for _, _, how in read.values()]
        ends = (min(instants), max(instants)) if read else (None, None)
        known = [Decimal(text) for text in degrees if text is not None]
        temperatures = (min(known) * 1000, max(known) * 1000) if known else (None, None)
        manner = {name: how[:-1] for name, (_, _, how) in read.items()}
        return self.units[unit]["lot"], *self.begun[unit], *ends, *temperatures, manner

    def _sample_judged(self, fact: Fact, record: dict[str, Any]) -> None:
        self.judged[fact.address] = (record["lot"], record["quantity"], record["accepted"])

    def _model_defined(self, _fact: Fact, record: dict[str, Any]) -> None:
        self.revisions[record["model"]] = record["revision"]

    def _model_judged(self, fact: Fact, record: dict[str, Any]) -> None:
        revision = record.get("revision", self.revisions[record["model"]])
        self.judged[fact.address] = (record["model"], revision, record["quantity"], record["accepted"])

    def _rework(self, fact: Fact, record: dict[str, Any]) -> None:
        unit = record["unit"]
        self.units[unit].update(state="reworked", grade=None, release=None)
        for name in SPOILT[record["operation"]].split():
            self.spoilt[unit][name] = max(fact.at_ms, self.spoilt[unit].get(name, 0))
            if name in self.read[unit] and self.read[unit][name][0] < fact.at_ms:
                del self.read[unit][name]

    def _release(self, fact: Fact, record: dict[str, Any]) -> None:
        self.units[record["unit"]].update(state="released", grade=record["grade"], release=fact.address)

    def _regrade(self, _fact: Fact, record: dict[str, Any]) -> None:
        self.units[record["unit"]]["grade"] = record["grade"]

    def _scrap(self, _fact: Fact, record: dict[str, Any]) -> None:
        self.units[record["unit"]].update(state=ENDS[record["how"]], grade=None, release=None)

    def _shipment(self, _fact: Fact, record: dict[str, Any]) -> None:
        for unit in record["units"]:
            self.units[unit].update(state="shipped", away=record["shipment"])
            self.away[unit, record["shipment"]] = True

    def _returned(self, _fact: Fact, record: dict[str, Any]) -> None:
        self.units[record["unit"]].update(state="returned", release=None, away=None)
        for unit, shipment in self.away:
            if unit == record["unit"]:
                self.away[unit, shipment] = False

    def _restocked(self, _fact: Fact, record: dict[str, Any]) -> None:
        self.units[record["unit"]].update(state="engraved", grade=None)

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


def _marks(facts: list[Fact]) -> dict[str, tuple[bool, bool]]:
    """Late and doubtful, each fact by the limits that were stated in an entry before its own."""
    marks: dict[str, tuple[bool, bool]] = {}
    late_s, doubtful_s = 3600, 120
    stated = late_s, doubtful_s
    entry = -1
    for fact in facts:
        record = msgspec.to_builtins(fact.record)
        if fact.index != entry:
            entry, (late_s, doubtful_s) = fact.index, stated
        if record["kind"] == "plant-rules-set":
            stated = record.get("late_s", 3600), record.get("doubtful_s", 120)
        behind = (fact.recorded_ms - instant_ms(record["at"])) / 1000
        off = record.get("clock_error_s", 0)
        late = behind > late_s and KIND_OF[type(fact.record)].sort == "report"
        marks[fact.address] = late, off > doubtful_s or (not fact.body and -behind > max(off, doubtful_s))
    return marks


def _policies(facts: list[Fact]) -> dict[str, tuple[Any, ...]]:
    """Every release policy: its rule, whether its answer is needed, and who may release what is undecided."""
    said = {fact.address: msgspec.to_builtins(fact.record) for fact in facts}
    return {
        address: (record["decision"], record.get("house", "shown"), list(record.get("undecided_by", ())))
        for address, record in said.items()
        if record["kind"] == "release-policy-set"
    }


def _checklists(facts: list[Fact]) -> dict[str, str]:
    """The file of each checklist that was adopted last."""
    said = [msgspec.to_builtins(fact.record) for fact in facts]
    return {record["checklist"]: record["digest"] for record in said if record["kind"] == "checklist-adopted"}


def _grams(kg: str) -> int:
    return int(Decimal(kg) * 1000)


def _takes(record: dict[str, Any]) -> Iterable[tuple[str, int]]:
    yield from ((own["lot"], own["amount"]) for own in record.get("from_lots", ()))
    for pieces in (record.get("blocks", ()), record.get("cores", ())):
        yield from ((piece["lot"], piece["count"]) for piece in pieces)
    for weighed in (record.get("draws", ()), record.get("batches", ()), record.get("colours", ())):
        yield from ((draw["lot"], _grams(draw["kg"])) for draw in weighed)


def told(plant: Plant) -> dict[str, Any]:
    """What the standing facts say, in the shape of `shown`."""
    facts = plant.facts()
    story = Story(facts)
    return {
        "lots": {
            name: (
                lot["made"],
                story.drawn[name],
                story.lost[name],
                story.left(name),
                lot.get("closed", False),
                lot["maker"],
            )
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
        "marks": _marks(facts),
        "policies": _policies(facts),
        "checklists": _checklists(facts),
    }


def shown(plant: Plant) -> dict[str, Any]:
    """What the live view rows show of the same things."""
    rows: Callable[[Any], list[Any]] = lambda row: list(plant.tables.rows[row].values())  # noqa: E731  # any row class
    serials: defaultdict[str, list[tuple[Any, ...]]] = defaultdict(list)
    for row in rows(SerialRow):
        serials[row.unit].append((row.serial, row.since_ms, row.until_ms))
    read = {
        row.unit: {name: got[1] for name, got in msgspec.json.decode(row.sources).items()} for row in rows(Measured)
    }
    columns = ("lot", "serial", "state", "grade", "release", "away")
    return {
        "lots": {lot.lot: (lot.made, lot.used, lot.lost, left_of(lot), lot.closed, lot.address) for lot in rows(Lot)},
        "edges": sorted((edge.child, edge.parent, edge.amount) for edge in rows(Descent)),
        "units": {unit.unit: {column: getattr(unit, column) for column in columns} for unit in rows(Unit)},
        "serials": {unit: sorted(found, key=repr) for unit, found in serials.items()},
        "read": {unit: got for unit, got in read.items() if got},
        "measured": {row.unit: _measured(row) for row in rows(Measured) if row.sources != "{}"},
        "studied": {
            row.study: (row.gauge, row.operators, row.trials, row.parts, row.pooled) for row in rows(GaugeStudy)
        },
        "holds": {hold.hold: (hold.node, hold.stops, hold.open) for hold in rows(Hold)},
        "judged": {row.sample: (row.lot, row.quantity, row.accepted) for row in rows(SampleJudged)}
        | {row.model_test: (row.model, row.revision, row.quantity, row.accepted) for row in rows(ModelJudged)},
        "logged": {row.log: (row.lot, row.stage, row.coldest, row.warmest, row.gaps) for row in rows(TemperatureLog)},
        "away": {(row.unit, row.shipment): row.back_ms is None for row in rows(Shipped)},
        "finishes": {f"lot:{row.lot}": row.finish for row in rows(Lot) if row.finish is not None}
        | {f"unit:{row.unit}": row.finish for row in rows(Unit) if row.finish is not None},
        "marks": {row.address: (row.late, row.doubtful) for row in rows(FactRow) if row.standing},
        "policies": {
            row.address: (row.decision, row.house, [role for role in row.undecided_by.split(",") if role])
            for row in rows(ReleasePolicy)
        },
        "checklists": {row.checklist: row.digest for row in rows(ChecklistRow) if not row.superseded},
    }


def _measured(row: Measured) -> tuple[Any, ...]:
    manner = {
        name: (*got[:4], *(got[place] or None if place < len(got) else None for place in (4, 5)))
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


def unlike(one: dict[str, Any], other: dict[str, Any]) -> dict[str, tuple[list[Any], list[Any]]]:
    """What only the one and what only the other has, by name of view."""
    return {
        name: ([row for row in held if row not in other[name]], [row for row in other[name] if row not in held])
        for name, held in _as_lists(one).items()
        if held != (other := _as_lists(other))[name]
    }


def _as_lists(shape: dict[str, Any]) -> dict[str, list[Any]]:
    return {name: sorted(rows.items()) if isinstance(rows, dict) else rows for name, rows in shape.items()}
