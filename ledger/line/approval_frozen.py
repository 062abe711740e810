"""What an approval file rests on, as it stands: the lines of the document that is frozen (`approval_document`).

They are made from view rows alone, so that the line makes the document anew wherever it matters (at the freeze, at each
signature, at the hand-over) and refuses what differs.

The facts it rests on are: the model's definition, plans and type tests; what was done to each sample and read of it; what
made each of its lots and what was done to them; the gauges that read, and the calibration that each reading rests on.  The
rulebook edition and the checklist are named by digest.  What is released, shipped, held or claimed is none of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeVar

from msgspec import UNSET

from ledger.line.approval_document import (
    FrozenAnnouncement,
    FrozenFact,
    FrozenFile,
    FrozenGauge,
    FrozenLot,
    FrozenPart,
    FrozenReading,
    FrozenReplaced,
    FrozenSample,
    Line,
    format_frozen,
)
from ledger.line.approval_rows import ApprovalAnnouncement, ApprovalFile, ApprovalPart, ApprovalSample
from ledger.line.fact import parse_address
from ledger.line.gauges import calibration_at
from ledger.line.lineage import alternatives
from ledger.line.reading_rows import Calibration, Gauge, Measured
from ledger.line.rows import About, Descent, FactRow, Lot, Model, ModelJudged, Plan, Row, Unit
from ledger.line.standing_readings import manner_of, sources_of
from ledger.line.state import Need, State

R = TypeVar("R", bound=Row)

OF_UNIT = frozenset({"unit-started", "unit-worked", "ball-engraved", "ball-engraved-anew", "inspection", "rework"})
"""The kinds of facts about a sample ball that the file rests on."""

OF_LOT = frozenset({"lot-worked", "lot-changed", "temperature-logged", "inspection", "sample-judged"})
"""The kinds of facts about a lot that the file rests on, beside the one that made it."""


class _Walk:
    """A walk over rows as far as they are loaded; what it asked for is kept, so that the same walk states its needs."""

    def __init__(self, state: State) -> None:
        self.needs: list[Need] = []
        self.facts: set[str] = set()
        self.lots: set[str] = set()
        self.gauges: set[str] = set()
        self._state = state

    def rows(self, row: type[R], column: str, value: str) -> list[R]:
        need = Need(row, column, value)
        self.needs.append(need)
        return self._state.where(row, column, value) if self._state.has(need) else []

    def one(self, row: type[R], column: str, value: str) -> R | None:
        found = self.rows(row, column, value)
        return found[0] if found else None

    def about(self, node: str, kinds: frozenset[str]) -> None:
        """Take up the standing facts about a node that are of these kinds."""
        for about in self.rows(About, "node", node):
            fact = self.one(FactRow, "address", about.address)
            if fact is not None and fact.standing and fact.kind in kinds:
                self.facts.add(about.address)


def frozen_needs(file: str, state: State) -> Iterator[Need]:
    """What `frozen_document` reads; ask until nothing new comes."""
    walk = _Walk(state)
    _lines(walk, file)
    yield from walk.needs


def frozen_document(file: str, state: State) -> bytes:
    """The document of a file as it stands; no bytes for a file that the state does not hold."""
    return format_frozen(_lines(_Walk(state), file))


def _lines(walk: _Walk, name: str) -> list[Line]:
    file = walk.one(ApprovalFile, "file", name)
    if file is None:
        return []
    announced = sorted(walk.rows(ApprovalAnnouncement, "file", name), key=lambda row: parse_address(row.announcement))
    balls = sorted(walk.rows(ApprovalSample, "file", name), key=draw_place)
    lines: list[Line] = [_file(walk, file), *map(_announcement, announced)]
    lines += [_sample(walk, row) for row in balls if row.state == "in"]
    lines += [_replaced(row) for row in balls if row.state != "in"]
    lines += _parts(walk, name)
    lines += _lots(walk)
    lines += [FrozenGauge(gauge=gauge) for gauge in sorted(walk.gauges)]
    return lines + _facts(walk)


def draw_place(row: ApprovalSample) -> tuple[int, tuple[int, int], int]:
    """What samples are ordered by: class, announcement, place in the draw."""
    return row.weight_class, parse_address(row.announcement), row.place


def _file(walk: _Walk, file: ApprovalFile) -> FrozenFile:
    model = walk.one(Model, "model", file.model)
    if model is not None:
        walk.facts.add(model.address)
    walk.facts.update(plan.plan for plan in walk.rows(Plan, "model", file.model))
    tests = walk.rows(ModelJudged, "model", file.model)
    walk.facts.update(test.model_test for test in tests if test.revision == file.revision)
    return FrozenFile(
        v=1,
        file=file.file,
        model=file.model,
        revision=file.revision,
        core=UNSET if model is None else model.core,
        body=file.body,
        classes=tuple(int(pounds) for pounds in file.classes.split(",")),
        rulebook=file.rulebook,
        checklist=file.checklist,
    )


def _announcement(row: ApprovalAnnouncement) -> FrozenAnnouncement:
    drawn, seed = (UNSET if value is None else value for value in (row.drawn, row.seed))
    return FrozenAnnouncement(fact=row.announcement, candidates=row.candidates, drawn=drawn, seed=seed)


def _sample(walk: _Walk, row: ApprovalSample) -> FrozenSample:
    unit = walk.one(Unit, "unit", row.unit)
    walk.about(f"unit:{row.unit}", OF_UNIT)
    if unit is not None:
        walk.lots.update(_lots_over(walk, unit))
    return FrozenSample(
        unit=row.unit,
        serial=UNSET if unit is None or unit.serial is None else unit.serial,
        weight_class=row.weight_class,
        announcement=row.announcement,
        place=row.place,
        readings=tuple(_readings(walk, row.unit)),
    )


def _readings(walk: _Walk, unit: str) -> Iterator[FrozenReading]:
    measured = walk.one(Measured, "unit", unit)
    manner = manner_of(measured)
    for quantity, source in sorted(sources_of(measured).items()):
        how = manner[quantity]
        walk.gauges.add(how.gauge)
        gauge = walk.one(Gauge, "gauge", how.gauge)
        if gauge is not None:
            walk.facts.add(gauge.address)
        calibration = calibration_at(walk.rows(Calibration, "gauge", how.gauge), source.at_ms)
        if calibration is not None:
            walk.facts.add(calibration.calibration)
        value = getattr(measured, quantity)
        yield FrozenReading(quantity=quantity, value=value, unit=how.unit, gauge=how.gauge, fact=source.fact)


def _lots_over(walk: _Walk, unit: Unit) -> list[str]:
    """The ball's lot and every lot above it, but for those that its recorded position clears it of."""
    found, at = [unit.lot], 0
    while at < len(found):
        place = unit.place if at == 0 else None
        for part in alternatives(walk.rows(Descent, "child", found[at]), place):
            found += [edge.parent for edge in part if edge.parent not in found]
        at += 1
    return found


def _replaced(row: ApprovalSample) -> FrozenReplaced:
    instead = UNSET if row.instead is None else row.instead
    return FrozenReplaced(
        unit=row.unit, how=row.state, reason=row.reason or "", fact=row.out or row.address, instead=instead
    )


def _parts(walk: _Walk, file: str) -> list[Line]:
    rows = [row for row in walk.rows(ApprovalPart, "file", file) if row.stands]
    return [
        FrozenPart(
            item=row.item,
            sort=row.sort,
            name=row.name,
            fact=row.address,
            unit=UNSET if row.unit is None else row.unit,
            digest=UNSET if row.digest is None else row.digest,
        )
        for row in sorted(rows, key=lambda row: (row.item, row.sort, row.name, row.unit or ""))
    ]


def _lots(walk: _Walk) -> list[Line]:
    lines: list[Line] = []
    for name in sorted(walk.lots):
        lot = walk.one(Lot, "lot", name)
        if lot is None:
            continue
        walk.facts.add(lot.address)
        walk.about(f"lot:{name}", OF_LOT)
        lines.append(FrozenLot(lot=name, stage=lot.stage, material=UNSET if lot.material is None else lot.material))
    return lines


def _facts(walk: _Walk) -> list[Line]:
    lines: list[Line] = []
    for address in sorted(walk.facts, key=parse_address):
        row = walk.one(FactRow, "address", address)
        lines.append(FrozenFact(fact=address, body=UNSET if row is None or not row.body else row.body))
    return lines
