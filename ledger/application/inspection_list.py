"""What the plan asks to be read of a ball, what was read already, what is missing, and with which gauges it may be read."""

from __future__ import annotations

import msgspec

from ledger.application.ball_view import Ball, ReadingSeen, ball_view, selected_ball
from ledger.application.judging import grounds_of, plan_among, plan_of, rulebooks_of
from ledger.application.registers import GaugeSeen, gauges_at
from ledger.conformity.from_rows import readings_from_row
from ledger.conformity.requirement import Method
from ledger.line.process_plan import INSPECTS, Inspect
from ledger.line.quantity import OF_COMPONENTS
from ledger.line.rows import Plan
from ledger.line.standing_readings import sources_of
from ledger.store.reader import Reader
from ledger.store.selections import Selected, Selection, rows_with, select_balls

LISTED = 200
"""Balls of a lot that are listed, at most."""

_NO_METHOD = Method()
_GONE = frozenset({"scrapped", "destroyed"})


class AskedReading(msgspec.Struct, frozen=True, kw_only=True):
    """One quantity of a ball. ``every``: how often the plan asks for it, empty where it does not.

    ``needed``: it must still be read of this very ball.  ``taken``: of how many balls of its lot it was read, for a
    sample of ``n``.  ``method``: as a rulebook of the plan asks; ``gauges``: every gauge that measures it.
    """

    quantity: str
    every: str
    n: int | None
    needed: bool
    covered: bool
    standing: ReadingSeen | None
    method: Method
    gauges: tuple[GaugeSeen, ...]
    taken: int | None = None


class InspectionList(msgspec.Struct, frozen=True, kw_only=True):
    """A ball at inspection; ``asked`` in the plan's order, then what else there are gauges for."""

    ball: Ball
    asked: tuple[AskedReading, ...]
    rulebooks: tuple[str, ...]
    plan: str


class BallToRead(msgspec.Struct, frozen=True, kw_only=True):
    """A ball of a lot, and the quantities that the plan asks of every ball and this one lacks."""

    unit: str
    serial: str | None
    place: int | None
    state: str
    missing: tuple[str, ...]


def inspection_list(reader: Reader, unit: str, at_ms: int) -> InspectionList:
    """A ball at inspection at an instant. Raises NotFound."""
    ball, one = ball_view(reader, unit), selected_ball(reader, unit)
    plan = plan_of(reader, one)
    asks = _asks(plan)
    editions = rulebooks_of(reader, one)
    standing = {reading.quantity: reading for reading in ball.readings}
    covered = {quantity for judged in ball.judged for quantity in judged.covered}
    methods = {
        requirement.quantity: requirement.method
        for edition in reversed(editions)
        for requirement in reversed(edition.rulebook.requirements)
        if requirement.method != _NO_METHOD
    }
    gauges: dict[str, list[GaugeSeen]] = {}
    for gauge in gauges_at(reader, at_ms):
        if gauge.quantity not in OF_COMPONENTS:
            gauges.setdefault(gauge.quantity, []).append(gauge)
    taken = _taken(reader, one, [ask.quantity for ask in asks.values() if ask.every == "sample"])
    quantities = [*asks, *sorted(set(standing) - set(asks)), *sorted(set(gauges) - set(asks) - set(standing))]
    return InspectionList(
        ball=ball,
        plan="" if plan is None else plan.plan,
        rulebooks=tuple(edition.rulebook.id for edition in editions),
        asked=tuple(
            AskedReading(
                quantity=quantity,
                every="" if (ask := asks.get(quantity)) is None else ask.every,
                n=None if ask is None or not isinstance(ask.n, int) else ask.n,
                needed=ask is not None and ask.every == "unit" and not _is_read(standing.get(quantity)),
                covered=quantity in covered,
                standing=standing.get(quantity),
                method=methods.get(quantity, _NO_METHOD),
                gauges=tuple(gauges.get(quantity, ())),
                taken=taken.get(quantity),
            )
            for quantity in quantities
        ),
    )


def balls_to_read(reader: Reader, lot: str) -> tuple[BallToRead, ...]:
    """The balls of a lot, those with readings missing first; at most `LISTED`. Scrapped ones are left out."""
    balls = select_balls(reader.transaction, Selection(lot=lot, limit=LISTED))
    balls = [one for one in balls if one.unit.state not in _GONE]
    if not balls:
        return ()
    grounds = grounds_of(reader, balls)
    plans: list[Plan] = rows_with(reader, Plan, "model", [balls[0].lot.model or ""])
    rows = []
    for one in balls:
        read = readings_from_row(one.measured, grounds.calibrations, grounds.gauges, grounds.studies)
        usable = {quantity for quantity, reading in read.items() if reading.usable}
        asks = _asks(plan_among(plans, one)).values()
        rows.append(
            BallToRead(
                unit=one.unit.unit,
                serial=one.unit.serial,
                place=one.unit.place,
                state=one.unit.state,
                missing=tuple(ask.quantity for ask in asks if ask.every == "unit" and ask.quantity not in usable),
            )
        )
    return tuple(sorted(rows, key=lambda row: (not row.missing, row.place or 0, row.unit)))


def _asks(plan: Plan | None) -> dict[str, Inspect]:
    return {} if plan is None else {ask.quantity: ask for ask in INSPECTS.decode(plan.inspect)}


def _is_read(reading: ReadingSeen | None) -> bool:
    return reading is not None and not reading.unusable


def _taken(reader: Reader, one: Selected, quantities: list[str]) -> dict[str, int]:
    """Of how many balls of a ball's lot each of these was read."""
    if not quantities:
        return {}
    rows = [ball.measured for ball in select_balls(reader.transaction, Selection(lot=one.lot.lot))]
    read = [sources_of(row) for row in rows]
    return {quantity: sum(quantity in sources for sources in read) for quantity in quantities}
