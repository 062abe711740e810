"""Balls: turned on as units, spin-tested and marked, given a serial, engraved, engraved anew.

A unit has an id of its own (a tag, a rack position, or the id that the station sends with the engraving); the serial
comes later and is an attribute with a history.  Own-scheme serials are unique for ever; prior or imported numbers may
repeat or be missing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, MalformedSerial, UnknownSubject
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.lineage import hold_breaches, lineage_needs, stopping_holds
from ledger.line.lot_changes import FINISHES, early_breaches, final_cure
from ledger.line.lots import clock_error_ms, known_lot, left_of
from ledger.line.making_rows import UnitStep
from ledger.line.moulding import WeightClass
from ledger.line.process_plan import plan_needs
from ledger.line.reading_rows import Measured
from ledger.line.record import Id, Pieces, Record, Slug
from ledger.line.release_policy import UNFOUNDED
from ledger.line.rows import Allotment, Hold, Lot, SerialRow, Unit
from ledger.line.serial import check_serial_text, parse_serial
from ledger.line.state import Need, State
from ledger.line.voided_readings import changed_by, void_readings

SerialText = Annotated[str, Meta(min_length=1, max_length=20, description="serial as engraved")]


class UnitStarted(Record, frozen=True, kw_only=True, tag="unit-started"):
    """A ball of a shell lot went on the lathe and became a unit; ``place`` is its position in the lot."""

    unit: Id
    lot: Id
    station: Id
    place: Pieces | UnsetType = UNSET


class UnitWorked(Record, frozen=True, kw_only=True, tag="unit-worked"):
    """A step on one ball: its spin test, the marking of its centre of gravity, its finishing.

    What was read of the ball before a step that can change it no longer stands.  Work on a released ball is a rework.
    """

    unit: Id
    step: Literal["spin-tested", "cg-marked", "pin-marked", "turned", "sanded", "polished"]
    station: Id


class BallEngraved(Record, frozen=True, kw_only=True, tag="ball-engraved"):
    """A serial was engraved on a ball. The unit is new here unless it was started before."""

    unit: Id
    lot: Id
    serial: SerialText
    weight_class: WeightClass
    station: Id
    scheme: Literal["own", "prior"] = "own"
    place: Pieces | UnsetType = UNSET


class BallEngravedAnew(Record, frozen=True, kw_only=True, tag="ball-engraved-anew"):
    """Another serial took the place of the one that the ball bore; both stay findable."""

    unit: Id
    serial: SerialText
    station: Id
    reason: Slug
    scheme: Literal["own", "prior"] = "own"


def unit_needs(unit: str, state: State) -> Iterator[Need]:
    """The unit, holds on it, and its lot with all above it."""
    wanted = Need(Unit, "unit", unit)
    yield wanted
    yield Need(Hold, "node", f"unit:{unit}")
    row = state.one(Unit, unit) if state.has(wanted) else None
    if row is not None:
        yield from lineage_needs([row.lot], state)


def known_unit(state: State, unit: str, *, where: str = "unit") -> Unit:
    """The unit of this id. Raises UnknownSubject."""
    row = state.one(Unit, unit)
    if row is None:
        raise UnknownSubject(
            f"unit {unit} is not in the book", where=where, mend="register the ball first, or correct the unit id"
        )
    return row


def _lot_needs(lot: str, state: State) -> Iterator[Need]:
    yield from lineage_needs([lot], state)
    row = state.one(Lot, lot) if state.has(Need(Lot, "lot", lot)) else None
    if row is not None:
        yield from plan_needs(row.model)


def _start_breaches(record: UnitStarted | BallEngraved, state: State, what: str, taken_ms: int | None) -> list[Breach]:
    lot = known_lot(state, record.lot, where="lot", stages=("shell",))
    node = f"unit:{record.unit}"
    done = f"{record.unit} {what}"
    holds = {hold.hold: hold for stop in ("use", "work") for hold in stopping_holds(state, stop, lot=record.lot)}
    breaches = hold_breaches(holds.values(), node=node, what=done)
    breaches += early_breaches(lot, instant_ms(record.at), node=node, what=done)
    if left_of(lot) < 1:
        said = f"{record.lot} had no ball left when {record.unit} was {what}"
        breaches.append(Breach(code="over-drawn", node=node, said=said, fact=lot.address, mend="recount the lot"))
    if lot.closed:
        said = f"{record.unit} was added to {record.lot} after it was closed"
        breaches.append(Breach(code="lot-closed", node=node, said=said, fact=lot.address, mend="dispose of the ball"))
    clock = clock_error_ms(record, taken_ms)
    cure = final_cure(state, lot, record.at, what=done, clock_ms=clock)
    return breaches + [msgspec.structs.replace(breach, node=node) for breach in cure]


def _started_needs(record: UnitStarted, state: State) -> Iterator[Need]:
    yield Need(Unit, "unit", record.unit)
    yield from _lot_needs(record.lot, state)


def _started_check(record: UnitStarted, state: State, setting: Setting) -> list[Breach]:
    _refuse_known(state, record.unit)
    return _start_breaches(record, state, "turned", setting.taken_ms)


def _refuse_known(state: State, unit: str) -> None:
    if state.one(Unit, unit) is not None:
        raise Contradiction(
            f"unit {unit} is in the book already", where="unit", mend="use the unit's own tag, or a new id"
        )


def _new_unit(fact: Fact, state: State, record: UnitStarted | BallEngraved) -> Unit:
    lot = state.held(Lot, record.lot)
    if lot is not None:
        state.put(msgspec.structs.replace(lot, used=lot.used + 1))
    return Unit(
        unit=record.unit,
        lot=record.lot,
        place=None if record.place is UNSET else record.place,
        serial=None,
        weight_class=None,
        began_ms=fact.at_ms,
        engraved_ms=None,
        cg_marked=False,
        state="made",
        grade=None,
        release=None,
        rework=None,
        away=None,
    )


def _started_effects(fact: Fact, state: State) -> None:
    record: UnitStarted = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(_new_unit(fact, state, record))
    _enter_step(fact, state, record, "started")


def _enter_step(fact: Fact, state: State, record: UnitStarted | UnitWorked, step: str) -> None:
    row = UnitStep(unit_step=fact.address, unit=record.unit, step=step, station=record.station, at_ms=fact.at_ms)
    state.put(row)


def _worked_needs(record: UnitWorked, state: State) -> Iterator[Need]:
    yield from unit_needs(record.unit, state)
    yield Need(Measured, "unit", record.unit)


def _worked_check(record: UnitWorked, state: State, _setting: Setting) -> list[Breach]:
    unit = known_unit(state, record.unit)
    node = f"unit:{record.unit}"
    breaches = hold_breaches(
        stopping_holds(state, "work", lot=unit.lot, unit=unit), node=node, what=f"{record.step} done"
    )
    if unit.state == "released" and changed_by(record.step):
        said = f"{record.unit} was {record.step} after its release, which rests on what it was before"
        mend = "enter it as a rework, then measure, judge and release the ball again"
        breaches.append(Breach(code=UNFOUNDED, node=node, said=said, fact=unit.release or UNSET, mend=mend))
    return breaches


def _worked_effects(fact: Fact, state: State) -> None:
    record: UnitWorked = fact.record  # type: ignore[assignment]  # the kind table pairs them
    _enter_step(fact, state, record, record.step)
    if record.step == "cg-marked":
        state.alter(Unit, record.unit, cg_marked=True)
    elif record.step in FINISHES:
        enter_finish(state, record.unit, record.step, fact.at_ms)
    changed = changed_by(record.step)
    if changed:
        void_readings(state, record.unit, changed, fact.at_ms)


def enter_finish(state: State, unit: str, finish: str, at_ms: int) -> None:
    """Enter how a ball's own surface was left at an instant; what is reported late says nothing of what came after it."""
    row = state.held(Unit, unit)
    if row is not None and at_ms >= (row.finish_ms or 0):
        state.put(msgspec.structs.replace(row, finish=finish, finish_ms=at_ms))


def _serial_needs(serial: str) -> list[Need]:
    return [Need(SerialRow, "serial", serial), Need(Allotment, "serial", serial)]


def _engraved_needs(record: BallEngraved, state: State) -> Iterator[Need]:
    yield from _serial_needs(record.serial)
    yield from unit_needs(record.unit, state)
    if state.has(Need(Unit, "unit", record.unit)) and state.one(Unit, record.unit) is not None:
        yield Need(Measured, "unit", record.unit)
    yield from _lot_needs(record.lot, state)


def check_own(serial: str, where: str) -> None:
    """Return if this is a serial of the own scheme as it is engraved. Raises MalformedSerial."""
    if parse_serial(serial) != serial:
        raise MalformedSerial(
            "serial is not written as engraved",
            expected=parse_serial(serial),
            got=serial,
            where=where,
            mend="send it plain",
        )


def _check_serial(record: BallEngraved | BallEngravedAnew, state: State) -> list[Breach]:
    if record.scheme == "prior":
        check_serial_text(record.serial)
        return []
    check_own(record.serial, "serial")
    if state.one(Allotment, record.serial) is None:
        raise UnknownSubject(
            f"serial {record.serial} was not allotted by this book",
            where="serial",
            mend="ask for serials first (allot), or state scheme prior for a number of an earlier scheme",
        )
    for bearer in state.where(SerialRow, "serial", record.serial):
        if bearer.own_scheme:
            raise Contradiction(
                f"serial {record.serial} is on unit {bearer.unit} already",
                where="serial",
                mend="engrave another allotted serial on this ball (ball-engraved-anew once registered)",
            )
    return []


def _engraved_check(record: BallEngraved, state: State, setting: Setting) -> list[Breach]:
    breaches = _check_serial(record, state)
    unit = state.one(Unit, record.unit)
    if unit is None:
        return breaches + _start_breaches(record, state, "engraved", setting.taken_ms)
    if unit.serial is not None:
        raise Contradiction(
            f"unit {record.unit} bears serial {unit.serial}",
            where="unit",
            mend="use ball-engraved-anew to engrave another number",
        )
    if unit.lot != record.lot:
        raise Contradiction(
            f"unit {record.unit} was started from another lot",
            expected=unit.lot,
            got=record.lot,
            where="lot",
            mend="scan the right traveller, or correct the earlier fact",
        )
    holds = stopping_holds(state, "work", lot=unit.lot, unit=unit)
    return breaches + hold_breaches(holds, node=f"unit:{record.unit}", what="engraved")


def _engraved_effects(fact: Fact, state: State) -> None:
    record: BallEngraved = fact.record  # type: ignore[assignment]  # the kind table pairs them
    unit = state.held(Unit, record.unit) or _new_unit(fact, state, record)
    state.put(
        msgspec.structs.replace(
            unit,
            serial=record.serial,
            weight_class=record.weight_class,
            engraved_ms=fact.at_ms,
            engraved_by=record.station,
            state="engraved" if unit.state == "made" else unit.state,
        )
    )
    # A ball that was measured before it was engraved: its readings carry what they are judged with.
    state.alter(Measured, record.unit, weight_class=record.weight_class, engraved_ms=fact.at_ms)
    _bear(fact, state, record.unit, record.serial, own=record.scheme == "own")


def _bear(fact: Fact, state: State, unit: str, serial: str, *, own: bool) -> None:
    row = SerialRow(
        serial_row=fact.address, serial=serial, unit=unit, since_ms=fact.at_ms, until_ms=None, own_scheme=own
    )
    state.put(row)


def _anew_needs(record: BallEngravedAnew, state: State) -> Iterator[Need]:
    yield from _serial_needs(record.serial)
    yield from unit_needs(record.unit, state)
    yield Need(SerialRow, "unit", record.unit)


def _anew_check(record: BallEngravedAnew, state: State, _setting: Setting) -> list[Breach]:
    unit = known_unit(state, record.unit)
    if unit.serial is None:
        raise Contradiction(
            f"unit {record.unit} bears no serial yet", where="unit", mend="engrave it first (ball-engraved)"
        )
    return _check_serial(record, state)


def _anew_effects(fact: Fact, state: State) -> None:
    record: BallEngravedAnew = fact.record  # type: ignore[assignment]  # the kind table pairs them
    for row in state.where(SerialRow, "unit", record.unit):
        if row.until_ms is None:
            state.put(msgspec.structs.replace(row, until_ms=fact.at_ms))
    state.alter(Unit, record.unit, serial=record.serial)
    _bear(fact, state, record.unit, record.serial, own=record.scheme == "own")


def _of_unit(record: UnitWorked | BallEngravedAnew) -> Iterable[str]:
    return [f"unit:{record.unit}"]


def _of_unit_and_lot(record: UnitStarted | BallEngraved) -> Iterable[str]:
    return [f"unit:{record.unit}", f"lot:{record.lot}"]


def _engraved_recheck(fact: Fact, state: State) -> list[Breach]:
    record: UnitStarted | BallEngraved = fact.record  # type: ignore[assignment]  # the kind table pairs them
    lot = state.one(Lot, record.lot)
    if lot is None:
        return []
    clock = clock_error_ms(record, fact.taken_ms)
    what = f"{record.unit} {'engraved' if isinstance(record, BallEngraved) else 'turned'}"
    cure = final_cure(state, lot, record.at, what=what, clock_ms=clock)
    return [msgspec.structs.replace(breach, node=f"unit:{record.unit}") for breach in cure]


KINDS = (
    Kind(UnitStarted, "report", _started_needs, _started_check, _started_effects, _of_unit_and_lot, _engraved_recheck),
    Kind(
        UnitWorked,
        "report",
        _worked_needs,
        _worked_check,
        _worked_effects,
        _of_unit,
    ),
    Kind(
        BallEngraved, "report", _engraved_needs, _engraved_check, _engraved_effects, _of_unit_and_lot, _engraved_recheck
    ),
    Kind(BallEngravedAnew, "report", _anew_needs, _anew_check, _anew_effects, _of_unit),
)
