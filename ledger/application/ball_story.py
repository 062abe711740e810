"""What a page of one ball tells beside its view: every step with its station, every reading taken, who lifted a hold.

Facts of a lot that are about its balls are not walked: of a lot count its making, its steps, and what was wrong with them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import msgspec
from msgspec import UNSET

from ledger.application.ball_view import Ball, ball_view
from ledger.application.histories import Told
from ledger.application.sent_to import sent_to
from ledger.application.trace_web import TraceWeb, trace_web
from ledger.book.instant import instant_ms
from ledger.line.fact import Fact, parse_address
from ledger.line.inspections import Inspection
from ledger.line.making_rows import Made
from ledger.line.releases import Rework
from ledger.line.rows import BreachRow, Hold, Lot, LotStep, Shipped
from ledger.store.bodies import decode_said
from ledger.store.reader import Reader
from ledger.store.selections import rows_with

MADE_AS = {"block": "blocks-moulded", "core": "cores-poured", "shell": "shells-poured"}
"""The stages of a ball's own lots, and the kind of record by which a lot of one is made."""


class StepTold(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One step of a ball, or of a lot that it is made from. ``what``: the kind of record, or the name of a lot's step.

    ``detail``: operation, grade or the like, where the record says one.  ``standing`` and ``corrected_by``: as in `Told`.
    """

    what: str
    at_ms: int
    fact: str
    lot: str = ""
    station: str = ""
    detail: str = ""
    certain: bool = True
    standing: bool = True
    late: bool = False
    doubtful: bool = False
    corrected_by: str = ""
    breaches: tuple[str, ...] = ()


class ReadingTaken(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One reading as it was said. ``became``: ``stands``, ``replaced`` by a later one, ``voided`` by work on the ball, ``withdrawn``.

    Of one that was withdrawn ``taken_back`` is the correction that did so, and ``reason`` what it gives as its reason.
    """

    quantity: str
    values: tuple[str, ...]
    unit: str
    gauge: str
    at_ms: int
    station: str
    fact: str
    became: str
    statistic: str = "single"
    expanded: str = ""
    temperature_c: str = ""
    humidity_percent: str = ""
    surface: str = ""
    taken_back: str = ""
    reason: str = ""


class HoldTold(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A hold over the ball and the facts by which it began and ended. ``lifts``: how many people have lifted it so far."""

    hold: str
    node: str
    reason: str
    stops: tuple[str, ...]
    opened_ms: int
    open: bool
    recall: bool
    opened: str
    lifted: str = ""
    lifts: int = 0
    rule: str = ""


class Sent(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A shipment of the ball. ``to``: the consignee's name, for who may be told."""

    shipment: str
    at_ms: int
    purpose: str
    fact: str
    back_ms: int | None = None
    to: str = ""


class BallStory(msgspec.Struct, frozen=True, kw_only=True):
    """A ball as `ball_view` has it, and what its page tells beside."""

    ball: Ball
    steps: tuple[StepTold, ...]
    taken: tuple[ReadingTaken, ...]
    holds: tuple[HoldTold, ...]
    sent: tuple[Sent, ...]
    web: TraceWeb
    lots: dict[str, int]
    """When each lot of its own (block, core, shell) was begun, POSIX ms."""


def ball_story(reader: Reader, unit: str, *, consignees: bool = False) -> BallStory:
    """Everything about one ball, told; ``consignees``: to someone who may know whom shipments went to. Raises NotFound."""
    ball = ball_view(reader, unit)
    facts = reader.facts_about(f"unit:{unit}")
    sure = {ball.lot: True, **{one.lot: one.certainty == "certain" for one in ball.materials if one.stage in MADE_AS}}
    lots: list[Lot] = [row for row in rows_with(reader, Lot, "lot", list(sure)) if row.stage in MADE_AS]
    steps = [*_lot_steps(reader, lots, sure), *_ball_steps(ball.history, facts)]
    return BallStory(
        ball=ball,
        steps=tuple(sorted(steps, key=lambda step: (step.at_ms, parse_address(step.fact)))),
        taken=_in_order([*_taken(ball, facts), *_withdrawn(reader, ball.history)]),
        holds=holds_told(reader, [hold.hold for hold in ball.holds]),
        sent=_sent(reader, unit, consignees=consignees),
        web=trace_web(reader, ball.lot, "up", place=ball.place),
        lots={row.lot: row.began_ms for row in lots},
    )


def _lot_steps(reader: Reader, lots: Sequence[Lot], sure: dict[str, bool]) -> list[StepTold]:
    names = [row.lot for row in lots]
    steps: list[LotStep] = rows_with(reader, LotStep, "lot", names)
    made: dict[str, str] = {row.lot: row.line or "" for row in rows_with(reader, Made, "lot", names) if row.after == 0}
    said = _breaches(reader, {*(row.address for row in lots), *(step.address for step in steps)})
    found = [
        StepTold(
            what=MADE_AS[row.stage],
            at_ms=row.began_ms,
            fact=row.address,
            lot=row.lot,
            station=made.get(row.lot, ""),
            certain=sure[row.lot],
            breaches=said.get(row.address, ()),
        )
        for row in lots
    ]
    return found + [
        StepTold(
            what=step.step,
            at_ms=step.began_ms,
            fact=step.address,
            lot=step.lot,
            station=step.station or "",
            certain=sure[step.lot],
            breaches=said.get(step.address, ()),
        )
        for step in steps
    ]


def _breaches(reader: Reader, facts: Iterable[str]) -> dict[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    for row in rows_with(reader, BreachRow, "address", sorted(facts)):
        found[row.address] = (*found.get(row.address, ()), f"{row.code}: {row.said}")
    return found


def _ball_steps(history: Sequence[Told], facts: Sequence[Fact]) -> list[StepTold]:
    records = {fact.address: fact.record for fact in facts}
    return [
        StepTold(
            what=told.kind,
            at_ms=instant_ms(told.at),
            fact=told.fact,
            station=_text(records.get(told.fact), "station"),
            detail=next(
                (
                    said
                    for name in ("operation", "grade", "how", "step")
                    if (said := _text(records.get(told.fact), name))
                ),
                "",
            ),
            standing=told.standing and not told.moved,
            late=told.late,
            doubtful=told.doubtful,
            corrected_by=told.corrected_by,
            breaches=told.breaches,
        )
        for told in history
    ]


def _text(record: object, name: str) -> str:
    said = getattr(record, name, UNSET)
    return said if isinstance(said, str) else ""


def _taken(ball: Ball, facts: Sequence[Fact]) -> list[ReadingTaken]:
    standing = {reading.quantity: reading.fact for reading in ball.readings}
    reworked = max((fact.at_ms for fact in facts if isinstance(fact.record, Rework)), default=None)
    found = []
    for fact in facts:
        record = fact.record
        if not isinstance(record, Inspection):
            continue
        for one in record.readings:
            stands = standing.get(one.quantity)
            voided = stands is None and reworked is not None and fact.at_ms <= reworked
            found.append(
                ReadingTaken(
                    quantity=one.quantity,
                    values=one.values,
                    unit=one.unit,
                    gauge=one.gauge,
                    at_ms=fact.at_ms,
                    station=record.station,
                    fact=fact.address,
                    became="stands" if stands == fact.address else "voided" if voided else "replaced",
                    statistic=one.statistic,
                    expanded=_text(one, "expanded"),
                    temperature_c=_text(record, "temperature_c"),
                    humidity_percent=_text(record, "humidity_percent"),
                    surface=_text(record, "surface"),
                )
            )
    return found


def _withdrawn(reader: Reader, history: Sequence[Told]) -> list[ReadingTaken]:
    """Readings that were taken back, as their entry has them still, with the reason that stands in the correction."""
    found = []
    for told in history:
        if told.standing or told.kind != "inspection":
            continue
        said = _said(reader, told.fact)
        reason = _said(reader, told.corrected_by).get("reason", "") if told.corrected_by else ""
        found += [
            ReadingTaken(
                quantity=one["quantity"],
                values=tuple(one["values"]),
                unit=one["unit"],
                gauge=one["gauge"],
                at_ms=instant_ms(told.at),
                station=said["station"],
                fact=told.fact,
                became="withdrawn",
                statistic=one.get("statistic", "single"),
                expanded=one.get("expanded", ""),
                temperature_c=said.get("temperature_c", ""),
                humidity_percent=said.get("humidity_percent", ""),
                surface=said.get("surface", ""),
                taken_back=told.corrected_by,
                reason=reason,
            )
            for one in said["readings"]
        ]
    return found


def _said(reader: Reader, address: str) -> dict[str, Any]:
    """The record at an address as its entry has it, whatever became of it."""
    index, position = parse_address(address)
    record: dict[str, Any] = decode_said(reader.entry(index).bytes).said["records"][position]
    return record


def _in_order(taken: Iterable[ReadingTaken]) -> tuple[ReadingTaken, ...]:
    return tuple(sorted(taken, key=lambda one: (one.quantity, one.at_ms, parse_address(one.fact))))


def holds_told(reader: Reader, holds: Sequence[str]) -> tuple[HoldTold, ...]:
    """These holds with the facts by which they began and ended, the open ones first."""
    rows: list[Hold] = rows_with(reader, Hold, "hold", holds)
    return tuple(
        HoldTold(
            hold=row.hold,
            node=row.node,
            reason=row.reason,
            stops=tuple(row.stops.split(",")),
            opened_ms=row.opened_ms,
            open=row.open,
            recall=row.recall,
            opened=row.opened,
            lifted=row.lifted or "",
            lifts=len({person for person in row.lifted_by.split(",") if person}),
            rule=row.rule or "",
        )
        for row in sorted(rows, key=lambda row: (not row.open, row.opened_ms, row.hold))
    )


def _sent(reader: Reader, unit: str, *, consignees: bool) -> tuple[Sent, ...]:
    rows = sorted(reader.rows(Shipped, "unit", unit), key=lambda row: row.at_ms)
    # The key of such a row is the address of the fact, then the unit.
    facts = [".".join(row.shipped.split(".", 2)[:2]) for row in rows]
    to = sent_to(reader, facts) if consignees and facts else {}
    return tuple(
        Sent(
            shipment=row.shipment,
            at_ms=row.at_ms,
            purpose=row.purpose,
            fact=fact,
            back_ms=row.back_ms,
            to=to.get(fact, ""),
        )
        for row, fact in zip(rows, facts, strict=True)
    )
