"""Which ball a claim is about: the one that it names, or those that bear or bore its number; and other claims on it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec import UNSET, UnsetType

from ledger.errors import MalformedSerial
from ledger.line.claim_rows import Claim
from ledger.line.fact import parse_address
from ledger.line.rows import Allotment, SerialRow, Unit
from ledger.line.serial import parse_serial
from ledger.line.state import Need, State


def plain_serial(typed: str) -> str:
    """A number of the own scheme as it is engraved, however it was typed; any other number as it is."""
    try:
        return parse_serial(typed)
    except MalformedSerial:
        return typed


def is_own_shape(serial: str) -> bool:
    """Whether the number is one that the own scheme could have given."""
    try:
        return bool(parse_serial(serial))
    except MalformedSerial:
        return False


def named(text: str | UnsetType) -> str | None:
    """What a record names, or None."""
    return None if text is UNSET else text


def ball_needs(serial: str | None, unit: str | None, state: State) -> Iterator[Need]:
    """What the functions below read of a number and a unit; ask until nothing new comes."""
    units = [] if unit is None else [unit]
    for number in _numbers(serial):
        need = Need(SerialRow, "serial", number)
        yield need
        yield Need(Allotment, "serial", number)
        yield Need(Claim, "serial", number)
        units += [row.unit for row in state.where(SerialRow, "serial", number)] if state.has(need) else []
    for name in dict.fromkeys(units):
        yield Need(Unit, "unit", name)
        yield Need(Claim, "unit", name)
        need = Need(SerialRow, "unit", name)
        yield need
        for row in state.where(SerialRow, "unit", name) if state.has(need) else []:
            yield Need(Claim, "serial", row.serial)
            yield Need(SerialRow, "serial", row.serial)


def _numbers(serial: str | None) -> list[str]:
    return [] if serial is None else list(dict.fromkeys((serial, plain_serial(serial))))


def bearers(serial: str | None, state: State) -> list[str]:
    """The units that bear or bore a number, in order of their ids."""
    return sorted({row.unit for number in _numbers(serial) for row in state.where(SerialRow, "serial", number)})


def claimed_ball(serial: str | None, unit: str | None, state: State) -> Unit | None:
    """The one ball that a claim is about; None where there is none, or where several bear the number."""
    if unit is not None:
        return state.one(Unit, unit)
    units = bearers(serial, state)
    return state.one(Unit, units[0]) if len(units) == 1 else None


def was_issued(serial: str, state: State) -> bool:
    """Whether the number was allotted, or could be one of the own scheme."""
    return is_own_shape(serial) or any(state.one(Allotment, number) is not None for number in _numbers(serial))


def claims_on(ball: Unit, state: State, before: tuple[int, int]) -> list[Claim]:
    """The claims opened before an address that name the ball, or a number that no other ball bears; in their order."""
    found = {row.claim: row for row in state.where(Claim, "unit", ball.unit)}
    for number in {row.serial for row in state.where(SerialRow, "unit", ball.unit)}:
        alone = {row.unit for row in state.where(SerialRow, "serial", number)} == {ball.unit}
        for row in state.where(Claim, "serial", number):
            if row.unit is None and alone:
                found[row.claim] = row
    return in_order(found.values(), before)


def claims_on_number(serial: str, state: State, before: tuple[int, int]) -> list[Claim]:
    """The claims opened before an address on a number, by which no ball is known; in their order."""
    rows = {row.claim: row for number in _numbers(serial) for row in state.where(Claim, "serial", number)}
    return in_order((row for row in rows.values() if row.unit is None), before)


def in_order(claims: Iterable[Claim], before: tuple[int, int]) -> list[Claim]:
    """Claims by the address at which they were opened, as far as that is before another."""
    placed = sorted(((parse_address(row.address), row) for row in claims), key=lambda one: one[0])
    return [row for place, row in placed if place < before]
