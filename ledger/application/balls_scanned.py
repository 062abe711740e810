"""Balls that were scanned to be sent or taken back: which each is, where the book has it, and what stands against it.

What stands against a shipment or a return is asked of the book ball by ball (`ledger.application.asking`), so that one ball
that may not leave does not hide another.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import msgspec

from ledger.access.tokens import Account
from ledger.application.asking import Reason
from ledger.application.ball_view import find_units
from ledger.application.pourbook import Pourbook
from ledger.application.said_shipments import failing_shipment, refused_shipment
from ledger.application.scanning import scanned
from ledger.errors import LedgerError, NotFound
from ledger.line.rows import Lot, Model, Unit
from ledger.line.shipments import Returned, Shipment
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import rows_with

_PLACE = re.compile(r"^(?:records\[\d+\]\.)?units\[\d+\]: ")

MOST = 500
"""Balls of one shipment, as its record takes them."""


class BallScanned(msgspec.Struct, frozen=True, kw_only=True):
    """One scan. ``problem``: why it names no one ball, in which case nothing else is known; ``away``: its open shipment."""

    text: str
    problem: str = ""
    unit: str = ""
    serial: str = ""
    model: str = ""
    grade: str = ""
    state: str = ""
    away: str = ""


class Against(msgspec.Struct, frozen=True, kw_only=True):
    """What stands against it: reasons of balls by unit, and those of the whole."""

    balls: dict[str, tuple[Reason, ...]]
    whole: tuple[Reason, ...] = ()


def balls_scanned(reader: Reader, texts: Sequence[str]) -> tuple[BallScanned, ...]:
    """What was scanned, in its order; a ball that was scanned twice stands once. A few look-ups a scan, three for all."""
    names: dict[str, str] = {}
    problems: dict[str, str] = {}
    for text in dict.fromkeys(texts):
        try:
            names[text] = _unit_of(reader, text)
        except LedgerError as error:
            problems[text] = error.problem
    units: dict[str, Unit] = {row.unit: row for row in rows_with(reader, Unit, "unit", list(names.values()))}
    lots: dict[str, Lot] = {row.lot: row for row in rows_with(reader, Lot, "lot", {row.lot for row in units.values()})}
    wanted = {lot.model for lot in lots.values() if lot.model is not None}
    models: dict[str, Model] = {row.model: row for row in rows_with(reader, Model, "model", wanted)}
    found: dict[str, BallScanned] = {}
    for text in dict.fromkeys(texts):
        if text in problems:
            found[f"? {text}"] = BallScanned(text=text, problem=problems[text])
            continue
        row = units[names[text]]
        model = models.get(lots[row.lot].model or "")
        found.setdefault(
            row.unit,
            BallScanned(
                text=text,
                unit=row.unit,
                serial=row.serial or "",
                model=model.name if model is not None else lots[row.lot].model or "",
                grade=row.grade or "",
                state=row.state,
                away=row.away or "",
            ),
        )
    return tuple(found.values())


def _unit_of(reader: Reader, text: str) -> str:
    """The unit that a scan names. Raises NotFound, MalformedLink."""
    try:
        one = scanned(reader, text)
    except NotFound:
        if len(_bearers(reader, text)) > 1:
            raise NotFound(
                "several balls bear this number", got=text, mend="scan the tag, or find it by its number"
            ) from None
        raise
    if not one.unit:
        raise NotFound("this is a lot and no ball", got=text, mend="scan the ball itself")
    return one.unit


def _bearers(reader: Reader, text: str) -> set[str]:
    try:
        return {one.unit for one in find_units(reader, text)}
    except LedgerError:
        return set()


def against_shipment(book: Pourbook, shipment: Shipment, account: Account) -> Against:
    """What stands against a shipment now, each ball by itself: rules, holds, and readings after its release that fail."""
    alone = [msgspec.structs.replace(shipment, units=(unit,)) for unit in shipment.units]
    answers = book.ask(alone, account, apart=True)
    balls: dict[str, tuple[Reason, ...]] = {}
    whole: dict[Reason, None] = {}
    for unit, answer in zip(shipment.units, answers, strict=True):
        balls[unit] = tuple(_of_ball(reason) for reason in answer.reasons if ".units[" in reason.where)
        whole |= dict.fromkeys(_anywhere(reason) for reason in answer.reasons if ".units[" not in reason.where)
    if shipment.purpose == "sale":
        with open_reader(book.store) as reader:
            failing = failing_shipment(reader, shipment.units)
        for unit, one in failing.items():
            error = refused_shipment(one, "units")
            balls[unit] = (*balls[unit], Reason(code=error.code, said=str(error), fact=one.fact, mend=error.mend))
    return Against(balls=balls, whole=tuple(whole))


def _of_ball(reason: Reason) -> Reason:
    """The same reason without the place of the ball in a record that nobody said."""
    return msgspec.structs.replace(reason, said=_PLACE.sub("", reason.said))


def _anywhere(reason: Reason) -> Reason:
    """The same reason whichever ball it was told of: its place without the number of the record."""
    return msgspec.structs.replace(reason, where=reason.where.partition(".")[2])


def against_returns(book: Pourbook, returns: Sequence[Returned], account: Account) -> Against:
    """What the book would find wrong with these returns, each by itself. A return that took place is entered all the same."""
    answers = book.ask(returns, account, apart=True)
    return Against(balls={one.unit: answer.reasons for one, answer in zip(returns, answers, strict=True)})
