"""What is taken over from files: balls made before this book, shipments, and which lines were refused.

Each accepted line is a record with the file's digest and the line; the lines of a stretch are said together, headed by
``lines-imported``, which names those that were refused.  So a stretch is entered once, whoever sends the file again.

A ball made before this book has a lot of stage ``imported``, one for each model and thousand lines of a file: nothing is
known of what it holds, nothing was measured, and no release is made of it before it is.  Its number may repeat.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from hashlib import sha256
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.errors import Contradiction, MalformedRecord, RuleStands
from ledger.line.balls import SerialText, known_unit, unit_needs
from ledger.line.case_rows import Consignee
from ledger.line.claims import Imported
from ledger.line.fact import Breach, Fact
from ledger.line.import_rows import IMPORTED, ImportedStretch, ImportedUnit
from ledger.line.kind import Kind, Setting
from ledger.line.models import known_model, model_needs
from ledger.line.moulding import WeightClass
from ledger.line.record import Count, Digest, Erasable, Id, On, Part, Record, Slug, Withheld
from ledger.line.releases import Grade
from ledger.line.rows import Allotment, Lot, SerialRow, Shipped, Unit
from ledger.line.serial import check_serial_text
from ledger.line.shipments import Purpose, check_addressed, check_may_leave, enter_shipped
from ledger.line.state import Need, State

Sort = Literal["balls", "shipments", "claims"]

LOT_LINES = 1_000
"""Lines of a file whose balls of one model are one lot: so few that a correction of one ball stays cheap."""

_DAY_MS = 86_400_000
_EPOCH = dt.date(1970, 1, 1).toordinal()


class BallImported(Record, frozen=True, kw_only=True, tag="ball-imported"):
    """A ball that was made before this book, as a file says. ``grade`` is that under which it was sold then."""

    unit: Id
    made_on: On
    imported: Imported
    serial: SerialText | UnsetType = UNSET
    model: Id | UnsetType = UNSET
    weight_class: WeightClass | UnsetType = UNSET
    grade: Grade | UnsetType = UNSET
    colours: Annotated[tuple[Slug, ...], Meta(max_length=12)] = ()


class ShipmentImported(Record, frozen=True, kw_only=True, tag="shipment-imported"):
    """A ball left, as a line of a file says; several lines make one shipment.

    ``to`` or ``consignee``: as in a shipment.  A ball made before this book leaves as it is; any other as its release says.
    """

    shipment: Id
    unit: Id
    imported: Imported
    consignee: Withheld | UnsetType = UNSET
    to: Id | UnsetType = UNSET
    purpose: Purpose = "sale"


class RefusedLine(Part, frozen=True, kw_only=True):
    """A line that was not entered: why, by the code of the error and the column; ``said`` in words, which may quote it."""

    line: Annotated[int, Meta(ge=1, le=10_000_000)]
    code: Slug
    column: Annotated[str, Meta(max_length=40)] = ""
    said: Erasable | UnsetType = UNSET


class LinesImported(Record, frozen=True, kw_only=True, tag="lines-imported"):
    """Lines ``first`` to ``last`` of a file were read; ``accepted`` of them are said in the same entry.

    ``first`` and ``last`` count the lines after the header, from 1; ``line`` of a refused one is that of the file itself.
    Whoever imports stores the file first; here only its digest is known.
    """

    file: Digest
    what: Sort
    first: Annotated[int, Meta(ge=1, le=10_000_000)]
    last: Annotated[int, Meta(ge=1, le=10_000_000)]
    accepted: Count
    refused: Annotated[tuple[RefusedLine, ...], Meta(max_length=500)] = ()


def imported_lot(record: BallImported) -> str:
    """The id of the lot that the ball belongs to."""
    model = "" if record.model is UNSET else record.model
    named = sha256(f"{record.imported.file}:{model}".encode()).hexdigest()[:16].upper()
    return f"IMP-{named}-{record.imported.line // LOT_LINES}"


def _ball_needs(record: BallImported, _state: State) -> Iterator[Need]:
    yield Need(Unit, "unit", record.unit)
    yield Need(Lot, "lot", imported_lot(record))
    yield Need(ImportedUnit, "unit", record.unit)
    if record.model is not UNSET:
        yield from model_needs(record.model)
    if record.serial is not UNSET:
        yield Need(SerialRow, "serial", record.serial)
        yield Need(Allotment, "serial", record.serial)


def _ball_check(record: BallImported, state: State, _setting: Setting) -> list[Breach]:
    if state.one(Unit, record.unit) is not None:
        raise Contradiction(
            f"unit {record.unit} is in the book already", where="unit", mend="leave the unit out, or give another id"
        )
    if record.model is not UNSET:
        known_model(state, record.model, where="model")
    lot = state.one(Lot, imported_lot(record))
    if lot is not None and lot.stage != IMPORTED:
        raise Contradiction(
            f"lot {lot.lot} is a lot of the line", where="imported.file", mend="name that lot otherwise"
        )
    if _day_ms(record.made_on, "made_on") > _day_ms(record.at[:10], "at"):
        raise RuleStands(
            "the ball was made after it was taken over",
            expected=f"a day up to {record.at[:10]}",
            got=record.made_on,
            where="made_on",
            mend="correct the day of making",
        )
    if record.serial is not UNSET:
        check_serial_text(record.serial)
        if state.one(Allotment, record.serial) is not None:
            raise Contradiction(
                f"serial {record.serial} was allotted by this book, which made no ball before it began",
                where="serial",
                mend="read the number again, or look the ball up",
            )
    return []


def _day_ms(on: str, where: str) -> int:
    try:
        return (dt.date.fromisoformat(on).toordinal() - _EPOCH) * _DAY_MS
    except ValueError as error:
        raise MalformedRecord(
            "no such date", expected="YYYY-MM-DD of a real date", got=on, where=where, mend="correct the date"
        ) from error


def _ball_effects(fact: Fact, state: State) -> None:
    record: BallImported = fact.record  # type: ignore[assignment]  # the kind table pairs them
    made_ms = _day_ms(record.made_on, "made_on")
    _enter_lot(fact, state, record, made_ms)
    serial = None if record.serial is UNSET else record.serial
    unit = Unit(
        unit=record.unit,
        lot=imported_lot(record),
        place=None,
        serial=serial,
        weight_class=None if record.weight_class is UNSET else record.weight_class,
        began_ms=made_ms,
        engraved_ms=None if serial is None else made_ms,
        cg_marked=False,
        state=IMPORTED,
        grade=None if record.grade is UNSET else record.grade,
        release=None,
        rework=None,
        away=None,
    )
    state.put(unit)
    source = ImportedUnit(
        unit=record.unit,
        file=record.imported.file,
        line=record.imported.line,
        colours=",".join(record.colours),
        address=fact.address,
    )
    state.put(source)
    if serial is not None:
        row = SerialRow(
            serial_row=fact.address,
            serial=serial,
            unit=record.unit,
            since_ms=made_ms,
            until_ms=None,
            own_scheme=False,
        )
        state.put(row)


def _enter_lot(fact: Fact, state: State, record: BallImported, made_ms: int) -> None:
    """One more ball of its lot, which the first one makes."""
    name = imported_lot(record)
    lot = state.held(Lot, name)
    if lot is None:
        lot = Lot(
            lot=name, stage=IMPORTED, model=None if record.model is UNSET else record.model, revision=None,
            weight_class=None, material=None, began_ms=made_ms, ended_ms=made_ms, made=0, rejects=0, adjusted=0, used=0,
            lost=0, expires_on=None, density_micro=None, closed=False, clock_ms=0, address=fact.address,
        )  # fmt: skip
    began, ended = min(lot.began_ms, made_ms), max(lot.ended_ms, made_ms)
    state.put(msgspec.structs.replace(lot, made=lot.made + 1, used=lot.used + 1, began_ms=began, ended_ms=ended))


def _shipment_needs(record: ShipmentImported, state: State) -> Iterator[Need]:
    yield Need(Shipped, "shipment", record.shipment)
    if record.to is not UNSET:
        yield Need(Consignee, "consignee", record.to)
    yield from unit_needs(record.unit, state)


def _shipment_check(record: ShipmentImported, state: State, _setting: Setting) -> list[Breach]:
    check_addressed(record, state)
    day_ms = _day_ms(record.at[:10], "at")
    unit = known_unit(state, record.unit)
    for row in state.where(Shipped, "shipment", record.shipment):
        said = (row.at_ms, row.purpose, row.consignee)
        if said != (day_ms, record.purpose, None if record.to is UNSET else record.to):
            raise Contradiction(
                f"shipment {record.shipment} is in the book with another day, purpose or consignee",
                where="shipment",
                mend="give it another id, or the same day, purpose and consignee as its other balls",
            )
        if row.unit == record.unit:
            raise Contradiction(
                f"unit {record.unit} is in shipment {record.shipment} already", where="unit", mend="leave the line out"
            )
    if unit.state == IMPORTED:
        if day_ms < unit.began_ms:
            raise RuleStands(
                f"unit {record.unit} left before it was made", where="at", got=record.at[:10], mend="correct the day"
            )
        return []
    check_may_leave(state, unit, record.purpose, where="unit")
    return []


def _shipment_effects(fact: Fact, state: State) -> None:
    record: ShipmentImported = fact.record  # type: ignore[assignment]  # the kind table pairs them
    enter_shipped(fact, state, record, record.unit)


def stretch_key(file: str, what: str, first: int) -> str:
    """The key of a stretch of a file."""
    return f"{file}:{what}:{first}"


def _lines_needs(record: LinesImported, _state: State) -> Iterator[Need]:
    yield Need(ImportedStretch, "stretch", stretch_key(record.file, record.what, record.first))


def _lines_check(record: LinesImported, state: State, _setting: Setting) -> list[Breach]:
    if state.one(ImportedStretch, stretch_key(record.file, record.what, record.first)) is not None:
        raise Contradiction(
            f"line {record.first} of the file was entered already", where="first", mend="go on with the lines after it"
        )
    if record.accepted + len(record.refused) != record.last - record.first + 1:
        raise Contradiction(
            "each line is accepted or refused",
            expected=record.last - record.first + 1,
            got=record.accepted + len(record.refused),
            where="accepted",
            mend="say every line of the stretch",
        )
    return []


def _lines_effects(fact: Fact, state: State) -> None:
    record: LinesImported = fact.record  # type: ignore[assignment]  # the kind table pairs them
    row = ImportedStretch(
        stretch=stretch_key(record.file, record.what, record.first),
        file=record.file,
        what=record.what,
        first=record.first,
        last=record.last,
        accepted=record.accepted,
        refused=len(record.refused),
        address=fact.address,
    )
    state.put(row)


def _ball_about(record: BallImported) -> Iterable[str]:
    return [f"unit:{record.unit}", f"lot:{imported_lot(record)}"]


def _shipment_about(record: ShipmentImported) -> Iterable[str]:
    return [f"shipment:{record.shipment}", f"unit:{record.unit}"]


KINDS = (
    Kind(BallImported, "decision", _ball_needs, _ball_check, _ball_effects, _ball_about),
    Kind(ShipmentImported, "decision", _shipment_needs, _shipment_check, _shipment_effects, _shipment_about),
    Kind(
        LinesImported, "decision", _lines_needs, _lines_check, _lines_effects, lambda record: [f"import:{record.file}"]
    ),
)
