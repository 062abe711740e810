"""A shell lot as the engraving station sees it: what is left, which ball is next, what was engraved last."""

from __future__ import annotations

import msgspec

from ledger.application.histories import HoldSeen, holds_over, instant_text
from ledger.application.lot_account import known_lot_row
from ledger.errors import Contradiction
from ledger.line.lots import left_of
from ledger.line.making_rows import UnitStep
from ledger.line.rows import BreachRow, Model, Unit
from ledger.store.reader import Reader
from ledger.store.selections import rows_with

WAITING_SHOWN = 60
"""Balls that wait for a number and are listed, at most."""

BEFORE_ENGRAVING = ("spin-tested", "cg-marked", "pin-marked")
"""The steps on one ball that come before its number, in their order; common practice, no source."""


class WaitingBall(msgspec.Struct, frozen=True, kw_only=True):
    """A ball that was started and bears no number: its id, place in the lot, and the steps done to it."""

    unit: str
    place: int | None
    steps: tuple[str, ...]


class EngravedBall(msgspec.Struct, frozen=True, kw_only=True):
    """A ball of the lot that bears a number, when it was engraved, and what was wrong with that, in words."""

    unit: str
    serial: str
    at: str
    breaches: tuple[str, ...] = ()


class EngravingLot(msgspec.Struct, frozen=True, kw_only=True):
    """One shell lot at engraving. ``last`` is the newest ball that this station engraved of it.

    ``waiting_count``: started balls without a number; ``waiting`` are the first of them.  ``next_place``: the first
    place that no ball has, None where the lot's balls carry no places.  ``holds`` are open ones.
    """

    lot: str
    model: str
    model_name: str
    weight_class: int | None
    left: int
    made: int
    engraved: int
    closed: bool
    waiting: tuple[WaitingBall, ...]
    waiting_count: int
    next_place: int | None
    holds: tuple[HoldSeen, ...]
    last: EngravedBall | None


def engraving_lot(reader: Reader, lot: str, station: str) -> EngravingLot:
    """A lot at a station. Raises NotFound, and Contradiction for a lot that is no shell lot."""
    row = known_lot_row(reader, lot)
    if row.stage != "shell":
        raise Contradiction(
            f"lot {lot} is of another stage",
            expected="a shell lot",
            got=row.stage,
            where="lot",
            mend="scan the traveller of the rack of balls",
        )
    units: list[Unit] = reader.rows(Unit, "lot", lot)
    model = None if row.model is None else reader.one(Model, row.model)
    waiting = sorted((unit for unit in units if _waits(unit)), key=lambda unit: (unit.place or 0, unit.unit))
    return EngravingLot(
        lot=row.lot,
        model=row.model or "",
        model_name="" if model is None else f"{model.brand} {model.name}".strip(),
        weight_class=row.weight_class,
        left=left_of(row),
        made=row.made,
        engraved=sum(unit.serial is not None for unit in units),
        closed=row.closed,
        waiting=_with_steps(reader, waiting[:WAITING_SHOWN]),
        waiting_count=len(waiting),
        next_place=_next_place(units),
        holds=tuple(hold for hold in holds_over(reader, [f"lot:{lot}"], [row]) if hold.open),
        last=_last(reader, units, station),
    )


def _waits(unit: Unit) -> bool:
    return unit.serial is None and unit.state == "made"


def _with_steps(reader: Reader, units: list[Unit]) -> tuple[WaitingBall, ...]:
    done: dict[str, list[UnitStep]] = {}
    for step in rows_with(reader, UnitStep, "unit", [unit.unit for unit in units]) if units else ():
        done.setdefault(step.unit, []).append(step)
    return tuple(
        WaitingBall(
            unit=unit.unit,
            place=unit.place,
            steps=tuple(step.step for step in sorted(done.get(unit.unit, []), key=lambda step: step.at_ms)),
        )
        for unit in units
    )


def _next_place(units: list[Unit]) -> int | None:
    taken = {unit.place for unit in units}
    if not units or None in taken:
        return None
    return next(place for place in range(1, len(taken) + 2) if place not in taken)


def _last(reader: Reader, units: list[Unit], station: str) -> EngravedBall | None:
    ours = [unit for unit in units if unit.engraved_by == station and unit.serial is not None]
    newest = max(ours, key=lambda unit: (unit.engraved_ms or 0, unit.unit), default=None)
    if newest is None:
        return None
    breaches: list[BreachRow] = reader.rows(BreachRow, "node", f"unit:{newest.unit}")
    return EngravedBall(
        unit=newest.unit,
        serial=str(newest.serial),
        at=instant_text(newest.engraved_ms or newest.began_ms),
        breaches=tuple(breach.said for breach in breaches),
    )
