"""What a person sees of a lot: its account, steps and holds; back to the drum; down to every ball."""

from __future__ import annotations

from collections import Counter

import msgspec

from ledger.application.histories import HoldSeen, RuleHolds, Told, history_of, holds_on, holds_over, instant_text
from ledger.application.lot_account import LotAccount, known_lot_row, lot_account
from ledger.application.lot_readings import LotReadingSeen, lot_readings
from ledger.application.temperature_logs import log_words
from ledger.line.rows import Lot, LotStep, Model, SampleJudged
from ledger.line.temperature_rows import TemperatureLog
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, rows_with
from ledger.store.whereabouts import units_of_lots
from ledger.tracing.back import trace_back
from ledger.tracing.forward import trace_forward


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """A step done on a whole lot."""

    step: str
    began_at: str
    ended_at: str
    fact: str


class LotTemperature(msgspec.Struct, frozen=True, kw_only=True):
    """What a temperature log says of a stage of a lot, in words: "22.9 to 24.1 deg C, 2 gaps"."""

    stage: str
    says: str
    fact: str


class LotView(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One lot."""

    lot: str
    stage: str
    began_at: str
    ended_at: str
    account: LotAccount
    model: str | None = None
    revision: int | None = None
    weight_class_lb: int | None = None
    material: str | None = None
    gtin: str | None = None
    expires_on: str | None = None
    closed: bool = False
    steps: tuple[Step, ...] = ()
    temperatures: tuple[LotTemperature, ...] = ()
    samples: tuple[SampleJudged, ...] = ()
    readings: tuple[LotReadingSeen, ...] = ()
    holds: tuple[HoldSeen, ...] = ()
    history: tuple[Told, ...] = ()


class LotAbove(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A lot that goes into another: how surely, by which parts, and how much of it.

    ``drawn``: grams of materials and batches, pieces from blocks on, drawn from it by the lots of this trace; absent where
    the amounts of a recipe are not told.
    """

    lot: str
    stage: str
    certainty: str
    level: int
    parts: tuple[str, ...]
    drawn: int = 0
    material: str | None = None
    model: str | None = None
    made_at: str = ""
    open_holds: tuple[str, ...] = ()


class Above(msgspec.Struct, frozen=True, kw_only=True):
    """Back to the drum. ``possible``: the records do not tell whether this one or another of its part was used."""

    lot: str
    lots: tuple[LotAbove, ...]


class LotBelow(msgspec.Struct, frozen=True, kw_only=True):
    """A lot that holds something of another."""

    lot: str
    stage: str
    certainty: str
    level: int


class BallBelow(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A ball that holds something of a lot."""

    unit: str
    lot: str
    certainty: str
    state: str
    serial: str | None = None
    away: str | None = None


class Below(msgspec.Struct, frozen=True, kw_only=True):
    """Down to every ball. Containment takes in the possible ones."""

    lot: str
    lots: tuple[LotBelow, ...]
    balls: tuple[BallBelow, ...]
    counts: dict[str, int]


def lot_view(reader: Reader, lot: str, *, told: bool = True) -> LotView:
    """One lot; ``told``: with every fact about it, of which a large lot has one for each ball. Raises NotFound."""
    row = known_lot_row(reader, lot)
    model = None if row.model is None else reader.one(Model, row.model)
    return LotView(
        lot=row.lot,
        stage=row.stage,
        began_at=instant_text(row.began_ms),
        ended_at=instant_text(row.ended_ms),
        account=lot_account(row),
        model=row.model,
        revision=row.revision,
        weight_class_lb=row.weight_class,
        material=row.material,
        gtin=None if model is None else model.gtin,
        expires_on=row.expires_on,
        closed=row.closed,
        steps=tuple(
            Step(
                step=step.step,
                began_at=instant_text(step.began_ms),
                ended_at=instant_text(step.ended_ms),
                fact=step.address,
            )
            for step in sorted(reader.rows(LotStep, "lot", lot), key=lambda step: (step.began_ms, step.address))
        ),
        temperatures=tuple(
            LotTemperature(stage=row.stage, says=log_words([row]), fact=row.log)
            for row in sorted(reader.rows(TemperatureLog, "lot", lot), key=lambda row: (row.first_ms, row.log))
        ),
        samples=tuple(reader.rows(SampleJudged, "lot", lot)),
        readings=lot_readings(reader, [lot]),
        holds=holds_over(reader, [f"lot:{lot}"], [row]),
        history=history_of(reader, [f"lot:{lot}"]) if told else (),
    )


def lot_above(reader: Reader, lot: str, place: int | None = None) -> Above:
    """Every lot above a lot, or above its piece at a place. Raises NotFound. One query a level."""
    known_lot_row(reader, lot)
    trace = trace_back(StoredEdges(reader), lot, place)
    names = [ancestor.lot for ancestor in trace.ancestors]
    rows: dict[str, Lot] = {row.lot: row for row in rows_with(reader, Lot, "lot", names)}
    held: dict[str, list[str]] = {}
    for hold in holds_on(reader, [f"lot:{name}" for name in names], open_only=True):
        held.setdefault(hold.node.partition(":")[2], []).append(hold.hold)
    by_rule = RuleHolds(reader)
    for name, row in rows.items():
        held.setdefault(name, []).extend(hold.hold for hold in by_rule.over([row]) if hold.open)
    return Above(
        lot=lot,
        lots=tuple(
            LotAbove(
                lot=ancestor.lot,
                stage=rows[ancestor.lot].stage,
                certainty=ancestor.certainty,
                level=ancestor.level,
                parts=tuple(sorted({edge.part.partition(":")[0] for edge in ancestor.drawn})),
                drawn=sum(edge.amount for edge in ancestor.drawn),
                material=rows[ancestor.lot].material,
                model=rows[ancestor.lot].model,
                made_at=instant_text(rows[ancestor.lot].ended_ms),
                open_holds=tuple(held.get(ancestor.lot, ())),
            )
            for ancestor in trace.ancestors
            if ancestor.lot in rows
        ),
    )


def lot_below(reader: Reader, lot: str) -> Below:
    """Every lot and ball below a lot. Raises NotFound. Two queries a level and one for the balls."""
    known_lot_row(reader, lot)
    trace = trace_forward(StoredEdges(reader), lot)
    names = [lot, *(below.lot for below in trace.descendants)]
    rows: dict[str, Lot] = {row.lot: row for row in rows_with(reader, Lot, "lot", names)}
    shells = [name for name in names if name in rows and rows[name].stage == "shell"]
    balls: list[BallBelow] = []
    for unit in units_of_lots(reader, shells):
        certainty = trace.of_unit(unit.lot, unit.place)
        if certainty is not None:
            state, away = unit.where
            balls.append(
                BallBelow(unit=unit.unit, lot=unit.lot, certainty=certainty, state=state, serial=unit.serial, away=away)
            )
    return Below(
        lot=lot,
        lots=tuple(
            LotBelow(lot=below.lot, stage=rows[below.lot].stage, certainty=below.certainty, level=below.level)
            for below in trace.descendants
            if below.lot in rows
        ),
        balls=tuple(balls),
        counts=dict(sorted(Counter(f"{ball.certainty} {ball.state}" for ball in balls).items())),
    )
