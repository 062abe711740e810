"""The second fold's story of balls: what state they are in, their numbers, and the readings that stand."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from decimal import Decimal
from typing import Any

from ledger.book.instant import instant_ms
from ledger.line.fact import Fact
from tests.line.story_lots import LotStory
from tests.line.told_words import ENDS, SPOILT, WORK


class BallStory(LotStory):
    """What is told of balls; each was taken from a lot."""

    def __init__(self) -> None:
        super().__init__()
        self.units: dict[str, dict[str, Any]] = {}
        self.serials: defaultdict[str, list[list[Any]]] = defaultdict(list)
        self.read: defaultdict[str, dict[str, tuple[int, str, tuple[Any, ...]]]] = defaultdict(dict)
        self.begun: dict[str, list[int | None]] = {}
        self.spoilt: defaultdict[str, dict[str, int]] = defaultdict(dict)
        self.away: dict[tuple[str, str], bool] = {}

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

    def _ball_imported(self, fact: Fact, record: dict[str, Any]) -> None:
        source = record["imported"]
        digest = hashlib.sha256(f"{source['file']}:{record.get('model', '')}".encode()).hexdigest()
        lot = f"IMP-{digest[:16].upper()}-{source['line'] // 1000}"
        self.lots.setdefault(lot, {"made": 0, "maker": fact.address})["made"] += 1
        self.drawn[lot] += 1
        self.counts[lot].append(("less", 1))
        serial, unit = record.get("serial"), record["unit"]
        made_ms = instant_ms(f"{record['made_on']}T00:00:00.000+00:00")
        self.units[unit] = {
            "lot": lot, "serial": serial, "state": "imported", "grade": record.get("grade"), "release": None, "away": None,
        }  # fmt: skip
        self.begun[unit] = [record.get("weight_class"), made_ms, None if serial is None else made_ms]
        if serial is not None:
            self.serials[unit].append([serial, made_ms, None])

    def _shipment_imported(self, fact: Fact, record: dict[str, Any]) -> None:
        self._shipment(fact, {**record, "units": [record["unit"]]})

    def _inspection(self, fact: Fact, record: dict[str, Any]) -> None:
        if "unit" not in record:
            return
        standing, spoilt = self.read[record["unit"]], self.spoilt[record["unit"]]
        for reading in record["readings"]:
            name = reading["quantity"]
            if fact.at_ms >= max(spoilt.get(name, 0), standing[name][0] if name in standing else 0):
                taken = tuple(reading.get(part, "single") for part in ("unit", "gauge", "statistic"))
                surface, delay, degrees = (record.get(part) for part in ("surface", "delay_s", "temperature_c"))
                how = (*taken, len(reading["values"]), surface, delay, reading.get("spacing_mm"), degrees)
                standing[name] = (fact.at_ms, fact.address, how)

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

    def _rework(self, fact: Fact, record: dict[str, Any]) -> None:
        unit = record["unit"]
        self.units[unit].update(state="reworked", grade=None, release=None)
        self._spoil(fact, unit, record["operation"])

    def _unit_worked(self, fact: Fact, record: dict[str, Any]) -> None:
        if record["step"] in WORK:
            self._spoil(fact, record["unit"], WORK[record["step"]])

    def _spoil(self, fact: Fact, unit: str, operation: str) -> None:
        for name in SPOILT[operation].split():
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
