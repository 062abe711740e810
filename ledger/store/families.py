"""The like of a ball or a lot: lots of a model nearest in time, and the readings of balls of them. Small, limited queries."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from ledger.line.rows import Lot
from ledger.store.reader import Reader
from ledger.store.readings_table import NUMBERS, shown_manner
from ledger.store.view_tables import VIEW_TABLES


class LikeBall(NamedTuple):
    """A ball's readings: values by quantity in whole millionths of the unit that ``manner`` names."""

    unit: str
    lot: str
    manner: str
    values: tuple[int | None, ...]


def lots_near(reader: Reader, model: str, stage: str, at_ms: int, *, within_ms: int, most: int) -> list[Lot]:
    """The lots of a stage of a model that began nearest to an instant, nearest first. One query, by the index of models."""
    table = VIEW_TABLES[Lot]
    text = table.select('"model" = ? AND "stage" = ? AND "began_ms" >= ? AND "began_ms" <= ?')
    values = (model, stage, at_ms - within_ms, at_ms + within_ms)
    rows = reader.transaction.rows(f'{text} ORDER BY abs("began_ms" - ?), "lot" LIMIT {int(most)}', (*values, at_ms))
    return [table.to_row(row) for row in rows]  # type: ignore[misc]  # the rows of its view


def like_balls(
    reader: Reader,
    lots: Sequence[str],
    weight_class: int | None,
    quantities: Sequence[str],
    *,
    most: int,
    of_a_lot: int,
) -> list[LikeBall]:
    """The measured balls of a weight class of some shell lots, ``of_a_lot`` of each at most, until there are ``most``.

    One query a lot, by the index of units by lot; balls in the order of their ids.
    """
    known = [quantity for quantity in quantities if quantity in NUMBERS.names]
    same_class = 'u."weight_class" IS NULL' if weight_class is None else f'u."weight_class" = {int(weight_class)}'
    text = (
        f'SELECT u."unit", {shown_manner("m")}, m."numbers" '
        'FROM "unit" u JOIN "measured" m ON m."unit" = u."unit" '
        f'WHERE u."lot" = ? AND {same_class} ORDER BY u."unit" LIMIT {int(of_a_lot)}'
    )
    found: list[LikeBall] = []
    for lot in lots:
        if len(found) >= most:
            break
        rows = reader.transaction.rows(text, (lot,))
        for unit, manner, packed in rows:
            numbers = NUMBERS.unpack(packed)
            found.append(LikeBall(unit, lot, manner, tuple([numbers.get(quantity) for quantity in known])))
    return found[:most]
