"""Claims that belong together: on one ball, for one fault, and over a replacement both ways."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from ledger.application.claim_days import replaced_on
from ledger.application.numbers import serial_rows
from ledger.conformity.from_rows import day_of
from ledger.line.claim_rows import Claim, Replacement
from ledger.line.fact import parse_address
from ledger.line.rows import About, Lot, SerialRow, Shipped, Unit
from ledger.store.reader import Reader
from ledger.store.selections import rows_with
from ledger.warranty.ball_record import ClaimLink, EarlierClaim, OldBall, Replaced

_LONGEST_CHAIN = 20
"""Replacements that were themselves replaced: no more are followed, so that a fault of the records ends."""


def claims_on_ball(
    reader: Reader, unit: str, asked: Claim | None = None, mode: str | None = None
) -> tuple[EarlierClaim, ...]:
    """The claims on a ball, oldest first, but for ``asked``: by its unit, or by a number that it bears or bore.

    One by a number that other balls bear or bore too is possible. ``mode``: the fault asked about.
    """
    numbers = {row.serial for row in reader.rows(SerialRow, "unit", unit)}
    bearers: dict[str, set[str]] = {}
    for row in rows_with(reader, SerialRow, "serial", numbers):
        bearers.setdefault(row.serial, set()).add(row.unit)
    rows: dict[str, Claim] = {claim.claim: claim for claim in reader.rows(Claim, "unit", unit)}
    rows |= {claim.claim: claim for claim in rows_with(reader, Claim, "serial", numbers) if claim.unit in {None, unit}}
    if asked is not None:
        rows.pop(asked.claim, None)
    sure = {
        claim.claim for claim in rows.values() if claim.unit == unit or len(bearers.get(claim.serial or "", ())) == 1
    }
    return _linked(reader, rows, sure, asked, mode)


def claims_on_number(reader: Reader, asked: Claim) -> tuple[EarlierClaim, ...]:
    """The other claims on the number of a claim that no ball bears, oldest first: whether it is one ball is not known."""
    if asked.serial is None:
        return ()
    rows: dict[str, Claim] = {claim.claim: claim for claim in reader.rows(Claim, "serial", asked.serial)}
    rows.pop(asked.claim, None)
    return _linked(reader, rows, set(), asked, asked.mode)


def _linked(
    reader: Reader, rows: dict[str, Claim], sure: set[str], asked: Claim | None, mode: str | None
) -> tuple[EarlierClaim, ...]:
    facts = _facts(reader, rows)
    return tuple(
        EarlierClaim(
            claim=claim.claim,
            mode=claim.mode,
            state=claim.state,
            link=_link(claim, asked, mode),
            certainty="certain" if claim.claim in sure else "possible",
            facts=facts.get(claim.claim, ()),
        )
        for claim in sorted(rows.values(), key=_opened)
    )


def _opened(claim: Claim) -> tuple[int, tuple[int, int]]:
    return claim.opened_ms, parse_address(claim.address)


def _link(claim: Claim, asked: Claim | None, mode: str | None) -> ClaimLink:
    if asked is not None and _opened(claim) > _opened(asked):
        return "later"
    return "same fault" if claim.mode == mode else "same ball"


def _facts(reader: Reader, claims: Sequence[str] | dict[str, Claim]) -> dict[str, tuple[str, ...]]:
    nodes = [f"claim:{claim}" for claim in claims]
    return {
        node.removeprefix("claim:"): tuple(one.address for one in rows)
        for node, rows in reader.rows_of(About, "node", nodes).items()
    }


def came_as_replacement(reader: Reader, unit: str) -> tuple[Replaced | None, EarlierClaim | None]:
    """By which claim a ball took the place of another, if it did, with the ball whose term it carries on."""
    row = _newest(reader.rows(Replacement, "unit", unit))
    claim = None if row is None else reader.one(Claim, row.claim)
    if row is None or claim is None:
        return None, None
    old = _old_ball(reader, row, claim) if row.term == "remaining" else None
    replaced = Replaced(claim=row.claim, on=replaced_on(row), old=old, facts=(row.address,))
    facts = _facts(reader, [row.claim])[row.claim]
    return replaced, EarlierClaim(
        claim=row.claim, mode=claim.mode, state=claim.state, link="replacement", facts=facts or (row.address,)
    )


def _newest(rows: Sequence[Replacement]) -> Replacement | None:
    return max(rows, key=lambda row: parse_address(row.address), default=None)


def _old_ball(reader: Reader, row: Replacement, claim: Claim) -> OldBall:
    """The first ball of a chain whose term is its own; what is not known of it is left out."""
    bought = claim.bought_on
    for _ in range(_LONGEST_CHAIN):
        unit = one_ball(reader, row.old_serial, row.old_unit)
        before = None if unit is None else _newest(reader.rows(Replacement, "unit", unit.unit))
        earlier = None if before is None else reader.one(Claim, before.claim)
        if before is None or earlier is None:
            break
        if before.term == "fresh":
            bought = replaced_on(before).isoformat()
            break
        row, bought = before, earlier.bought_on or bought
    if unit is None:
        return OldBall(number=row.old_serial or row.old_unit or "an unknown ball", bought_on=_date(bought))
    lot = reader.one(Lot, unit.lot)
    return OldBall(
        number=unit.serial or unit.unit,
        model="" if lot is None else lot.model or "",
        made_on=day_of(unit.engraved_ms or unit.began_ms),
        shipped_on=shipped_on(reader, unit.unit),
        bought_on=_date(bought),
        grade=unit.grade,
    )


def one_ball(reader: Reader, serial: str | None, unit: str | None) -> Unit | None:
    """The one ball that a claim names; None where it is not known, or several bear or bore the number."""
    if unit is not None:
        return reader.one(Unit, unit)
    units = {row.unit for row in serial_rows(reader, serial)} if serial else set()
    return reader.one(Unit, next(iter(units))) if len(units) == 1 else None


def shipped_on(reader: Reader, unit: str) -> dt.date | None:
    """The day on which a ball left last, of those times from which it did not come back."""
    left = [row.at_ms for row in reader.rows(Shipped, "unit", unit) if row.back_ms is None]
    return day_of(max(left)) if left else None


def _date(text: str | None) -> dt.date | None:
    return None if text is None else dt.date.fromisoformat(text)
