"""Shipment, return and restock of balls."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, Literal, Protocol

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.errors import Contradiction, MalformedRecord, RuleStands
from ledger.line.balls import known_unit, unit_needs
from ledger.line.case_rows import Consignee
from ledger.line.consignees import known_consignee
from ledger.line.fact import Breach, Fact
from ledger.line.import_rows import IMPORTED
from ledger.line.kind import Kind, Setting
from ledger.line.lineage import refuse_under_hold, stopping_holds
from ledger.line.record import Id, Record, Slug, Withheld
from ledger.line.rows import Shipped, Unit
from ledger.line.state import Need, State

Units = Annotated[tuple[Id, ...], Meta(min_length=1, max_length=500)]


Purpose = Literal["sale", "sample", "test", "warranty", "display", "other"]

SOLD = frozenset({"first", "second", "house"})
"""The grades that are sold; prototypes and demo balls leave with a purpose (common practice, no source)."""


class Shipment(Record, frozen=True, kw_only=True, tag="shipment"):
    """Balls leave: for sale when released, or not for sale with a purpose.

    ``to`` names a registered consignee, ``consignee`` one that is not in the register; a shipment says one of the two.
    Neither is ever erased: of a private person ``consignee`` says no name ("the claimant of WC-7").
    """

    shipment: Id
    units: Units
    consignee: Withheld | UnsetType = UNSET
    to: Id | UnsetType = UNSET
    purpose: Purpose = "sale"


class Returned(Record, frozen=True, kw_only=True, tag="returned"):
    """A ball came back; its release ends."""

    unit: Id
    reason: Slug
    shipment: Id | UnsetType = UNSET


class Restocked(Record, frozen=True, kw_only=True, tag="restocked"):
    """A returned ball goes back on the shelf to be judged and released anew."""

    unit: Id


def _shipment_needs(record: Shipment, state: State) -> Iterator[Need]:
    yield Need(Shipped, "shipment", record.shipment)
    if record.to is not UNSET:
        yield Need(Consignee, "consignee", record.to)
    for unit in record.units:
        yield from unit_needs(unit, state)


def _shipment_check(record: Shipment, state: State, _setting: Setting) -> list[Breach]:
    if state.where(Shipped, "shipment", record.shipment):
        raise Contradiction(f"shipment {record.shipment} is in the book already", where="shipment", mend="use a new id")
    check_addressed(record, state)
    if len(set(record.units)) != len(record.units):
        raise Contradiction("a ball is named twice", where="units", mend="name each ball once")
    for place, name in enumerate(record.units):
        where = f"units[{place}]"
        check_may_leave(state, known_unit(state, name, where=where), record.purpose, where=where)
    return []


class Addressed(Protocol):
    """A record of balls that left for someone."""

    @property
    def consignee(self) -> str | UnsetType:
        """The name of one that is not registered."""

    @property
    def to(self) -> str | UnsetType:
        """The id of one that is."""


class Sent(Addressed, Protocol):
    """The same with the shipment and its purpose."""

    @property
    def shipment(self) -> str:
        """Its id."""

    @property
    def purpose(self) -> str:
        """Its purpose."""


def check_addressed(record: Addressed, state: State) -> None:
    """Return if the record says one consignee, and a known one. Raises MalformedRecord, UnknownSubject."""
    if (record.to is UNSET) == (record.consignee is UNSET):
        raise MalformedRecord(
            "a shipment goes to one consignee",
            expected="to or consignee, not both",
            where="to",
            mend="send `to`, the id of a registered consignee; or `consignee`, the name of one that is not registered",
        )
    if not isinstance(record.to, UnsetType):
        known_consignee(state, record.to, where="to")


def check_may_leave(state: State, unit: Unit, purpose: str, *, where: str) -> None:
    """Return if a ball may leave for a purpose: in a state and grade for it, and under no hold. Raises RuleStands."""
    fit = {"released"} if purpose == "sale" else {"made", "engraved", "reworked", "returned", "released"}
    if unit.state not in fit:
        raise RuleStands(
            f"unit {unit.unit} may not leave",
            expected=" or ".join(sorted(fit)),
            got=unit.state,
            where=where,
            mend="release it first, or ship it not for sale with its purpose",
        )
    if purpose == "sale" and unit.grade not in SOLD:
        raise RuleStands(
            f"unit {unit.unit} is not for sale",
            expected=" or ".join(sorted(SOLD)),
            got=unit.grade or "no grade",
            where=where,
            mend="ship it with its purpose (sample, test, display...), or regrade it",
        )
    holds = stopping_holds(state, "shipment", lot=unit.lot, unit=unit)
    refuse_under_hold(holds, what=f"shipment of {unit.unit}", where=where)


def _shipment_effects(fact: Fact, state: State) -> None:
    record: Shipment = fact.record  # type: ignore[assignment]  # the kind table pairs them
    for name in record.units:
        enter_shipped(fact, state, record, name)


def enter_shipped(fact: Fact, state: State, record: Sent, unit: str) -> None:
    """A ball is away in the record's shipment."""
    state.alter(Unit, unit, state="shipped", away=record.shipment)
    row = Shipped(
        shipped=f"{fact.address}.{unit}",
        shipment=record.shipment,
        unit=unit,
        at_ms=fact.at_ms,
        back_ms=None,
        purpose=record.purpose,
        consignee=None if isinstance(record.to, UnsetType) else record.to,
    )
    state.put(row)


def _back_needs(record: Returned | Restocked, state: State) -> Iterator[Need]:
    yield from unit_needs(record.unit, state)
    yield Need(Shipped, "unit", record.unit)


def _returned_check(record: Returned, state: State, _setting: Setting) -> list[Breach]:
    unit = known_unit(state, record.unit)
    # A ball made before this book may come back from where nobody entered that it went.
    if unit.state not in {"shipped", IMPORTED}:
        said = f"{record.unit} came back while the book had it as {unit.state}"
        return [
            Breach(code="return-of-present", node=f"unit:{record.unit}", said=said, mend="correct the earlier facts")
        ]
    return []


def _returned_effects(fact: Fact, state: State) -> None:
    record: Returned = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.alter(Unit, record.unit, state="returned", release=None, away=None)
    for row in state.where(Shipped, "unit", record.unit):
        if row.back_ms is None:
            state.put(msgspec.structs.replace(row, back_ms=fact.at_ms))


def _restocked_check(record: Restocked, state: State, _setting: Setting) -> list[Breach]:
    unit = known_unit(state, record.unit)
    if unit.state != "returned":
        raise RuleStands(
            f"unit {record.unit} was not returned",
            expected="returned",
            got=unit.state,
            where="unit",
            mend="enter its return",
        )
    return []


def _restocked_effects(fact: Fact, state: State) -> None:
    record: Restocked = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.alter(Unit, record.unit, state="engraved", grade=None)


def _shipment_about(record: Shipment) -> Iterable[str]:
    return [f"shipment:{record.shipment}", *(f"unit:{unit}" for unit in record.units)]


def _of_unit(record: Returned | Restocked) -> Iterable[str]:
    return [f"unit:{record.unit}"]


KINDS = (
    Kind(Shipment, "decision", _shipment_needs, _shipment_check, _shipment_effects, _shipment_about),
    Kind(Returned, "report", _back_needs, _returned_check, _returned_effects, _of_unit),
    Kind(Restocked, "decision", _back_needs, _restocked_check, _restocked_effects, _of_unit),
)
