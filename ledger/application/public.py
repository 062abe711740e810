"""What anyone who scans a label is told: whether the number was issued here, and what it is. Nothing internal.

A label can be copied: the answer says *number issued by us*, and never that the ball in the hand is the one.
"""

from __future__ import annotations

import msgspec

from ledger.application.histories import holds_over
from ledger.application.numbers import serial_rows, typed_serial
from ledger.conformity.from_rows import day_of
from ledger.line.rows import Hold, Lot, Model, SerialRow, Unit
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, every_row, rows_with
from ledger.store.view_table import RECALLING
from ledger.tracing.back import trace_back

STATUS = {
    "imported": "made before the maker's present records",
    "made": "in production",
    "engraved": "in production",
    "reworked": "in production",
    "returned": "returned to the maker",
    "released": "released by the maker",
    "shipped": "released by the maker",
    "scrapped": "not for use: scrapped by the maker",
    "destroyed": "not for use: tested to destruction",
    "retained": "retained by the maker",
}
"""The state of a ball in words for the public."""

RECALLED = "held by the maker: ask the maker"
"""What is said instead of a ball that an open recall may concern: not why, and not of which lot."""

ENDED = frozenset({"scrapped", "destroyed", "retained"})
"""States that say enough by themselves, recall or not."""


class PublicAnswer(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The public answer about a number. ``balls`` is more than one where an earlier scheme repeated it."""

    issued: bool
    statement: str
    serial: str
    balls: tuple[PublicBall, ...] = ()


class PublicBall(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One ball that bears the number."""

    brand: str
    model: str
    weight_class_lb: int | None
    made_on: str
    status: str
    grade: str = ""
    number_replaced: bool = False


def public_answer(reader: Reader, gtin: str, serial: str) -> PublicAnswer:
    """The answer about a number under a GTIN; an unknown number and a wrong GTIN get the same words."""
    text = typed_serial(serial)
    balls = [ball for row in serial_rows(reader, serial) if (ball := _ball(reader, row, gtin)) is not None]
    if not balls:
        return PublicAnswer(issued=False, statement="unknown number: not issued by us under this product", serial=text)
    return PublicAnswer(issued=True, statement="number issued by us", serial=text, balls=tuple(balls))


def _ball(reader: Reader, row: SerialRow, gtin: str) -> PublicBall | None:
    unit = reader.one(Unit, row.unit)
    lot = None if unit is None else reader.one(Lot, unit.lot)
    model = None if lot is None or lot.model is None else reader.one(Model, lot.model)
    if unit is None or lot is None or model is None or model.gtin != gtin:
        return None
    return PublicBall(
        brand=model.brand,
        model=model.name,
        weight_class_lb=unit.weight_class,
        made_on=day_of(unit.engraved_ms or unit.began_ms).isoformat(),
        status=RECALLED if unit.state not in ENDED and _recalled(reader, unit, lot) else STATUS[unit.state],
        grade="" if unit.grade in {None, "first"} else str(unit.grade),
        number_replaced=row.until_ms is not None,
    )


def _recalled(reader: Reader, unit: Unit, lot: Lot) -> bool:
    """Whether an open recall holds the ball, or a lot that it descends from, certainly or possibly."""
    if not every_row(reader.transaction, Hold, RECALLING):
        return False
    above = [ancestor.lot for ancestor in trace_back(StoredEdges(reader), lot.lot, unit.place).ancestors]
    nodes = [f"unit:{unit.unit}", f"lot:{lot.lot}", *(f"lot:{name}" for name in above)]
    lots = [lot, *rows_with(reader, Lot, "lot", above)]
    return any(hold.recall and hold.open for hold in holds_over(reader, nodes, lots, unit))
