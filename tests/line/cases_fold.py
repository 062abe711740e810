"""The second fold of consignees, makings, cases and their answers: from the facts' JSON, never calling effects."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import msgspec

from ledger.book.instant import instant_ms
from ledger.line.case_rows import Case, CaseAnswer, CaseHold, CaseNotice, Consignee
from ledger.line.cases import CaseOpened
from ledger.line.fact import Fact
from ledger.line.making_rows import Made, UnitStep
from ledger.line.rows import Shipped, Unit
from tests.line.plant import Plant

_CHANGES = {"line": 2, "mould-set": 3, "mixer": 4}


def cases_told(facts: Iterable[Fact]) -> dict[str, Any]:
    """What the standing facts say, in the shape of `cases_shown`."""
    told: dict[str, Any] = {
        name: {} for name in ("consignees", "cases", "answers", "notices", "made", "steps", "engraved", "sent")
    }
    held = set()
    # What opens a case comes before all else about it, whatever a correction said in the place of an earlier fact.
    for fact in sorted(facts, key=lambda fact: not isinstance(fact.record, CaseOpened)):
        said = msgspec.to_builtins(fact.record)
        kind, at_ms = said["kind"], instant_ms(said["at"])
        if kind == "consignee-registered":
            told["consignees"][said["consignee"]] = (said["market"], said.get("language"), fact.address)
        elif kind == "case-opened":
            told["cases"][said["case"]] = ["none", True, said["suspect"]["sort"], None]
        elif kind == "case-ordered":
            case = told["cases"][said["case"]]
            case[0] = "recall" if "recall" in {case[0], said["action"]} else said["action"]
            held |= {(said["case"], hold) for hold in said["holds"]}
        elif kind == "case-closed":
            told["cases"][said["case"]][1::2] = False, (said["decision"], said.get("closed_with_unaccounted"))
        elif kind == "case-noticed":
            told["notices"][fact.address] = (said["case"], said["consignee"], said["letter"], said["balls"])
        elif kind == "case-answered":
            for one in said["answers"]:
                ball = (said["case"], said["consignee"], one.get("unit", ""), one.get("serial", ""))
                told["answers"][ball] = (one["said"], one.get("to"), fact.address)
        else:
            _passed(told, fact, said, at_ms)
    return {**told, "held": sorted(held)}


def _passed(told: dict[str, Any], fact: Fact, said: dict[str, Any], at_ms: int) -> None:
    """Where things were made, worked and sent."""
    kind = said["kind"]
    if kind in {"blocks-moulded", "cores-poured", "shells-poured"}:
        with_what = said["line"], said["mould_set"], said["mixer"]
        told["made"][fact.address] = [said["lot"], 0, *with_what, instant_ms(said["began_at"]), at_ms]
    elif kind == "lot-changed" and said["what"] in _CHANGES:
        row = [said["lot"], said["count"], None, None, None, at_ms, at_ms]
        row[_CHANGES[said["what"]]] = said["to"]
        told["made"][fact.address] = row
    elif kind in {"unit-started", "unit-worked"}:
        told["steps"][fact.address] = (said["unit"], said.get("step", "started"), said["station"], at_ms)
    elif kind == "ball-engraved":
        told["engraved"][said["unit"]] = said["station"]
    elif kind == "shipment-imported":
        told["sent"][said["unit"], said["shipment"]] = said.get("to")
    elif kind == "shipment":
        told["sent"].update(dict.fromkeys(((unit, said["shipment"]) for unit in said["units"]), said.get("to")))


def cases_shown(plant: Plant) -> dict[str, Any]:
    """The live rows of the same."""

    def rows(row: type[Any]) -> list[Any]:
        return list(plant.tables.rows[row].values())

    return {
        "consignees": {row.consignee: (row.market, row.language, row.address) for row in rows(Consignee)},
        "cases": {row.case: _case(row) for row in rows(Case)},
        "answers": {
            (row.case, row.consignee, row.unit or "", row.serial or ""): (row.said, row.to, row.address)
            for row in rows(CaseAnswer)
        },
        "notices": {row.notice: (row.case, row.consignee, row.letter, row.balls) for row in rows(CaseNotice)},
        "made": {row.made: list(msgspec.structs.astuple(row)[1:]) for row in rows(Made)},
        "steps": {row.unit_step: (row.unit, row.step, row.station, row.at_ms) for row in rows(UnitStep)},
        "engraved": {row.unit: row.engraved_by for row in rows(Unit) if row.engraved_by is not None},
        "sent": {(row.unit, row.shipment): row.consignee for row in rows(Shipped)},
        "held": sorted((row.case, row.hold) for row in rows(CaseHold)),
    }


def _case(row: Case) -> list[Any]:
    closed = None if row.open else (row.decision, row.unaccounted)
    return [row.action, row.open, msgspec.json.decode(row.suspect)["sort"], closed]
