"""The standing readings of one quantity over a selection of balls, in chunks: for figures of the process."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from ledger.line.standing_readings import parse_manner
from ledger.store.manner_texts import MannerTexts, manner_conditions
from ledger.store.packed_numbers import EMPTY
from ledger.store.reader import Reader
from ledger.store.readings_table import NUMBERS
from ledger.store.selections import Selection, conditions_of

CHUNK = 4_096
"""Balls asked for at a time."""


class StoredReading(NamedTuple):
    """A ball's standing reading of the quantity: ``value`` in whole millionths of the unit that ``manner`` names.

    ``manner`` and ``sources`` are the texts of its row (see `ledger.line.standing_readings`); ``expanded`` is the U stated
    with it (k = 2), in the same millionths.
    """

    unit: str
    serial: str | None
    lot: str
    place: int | None
    weight_class: int | None
    began_ms: int
    engraved_ms: int | None
    value: int
    manner: str
    sources: str
    expanded: int | None = None


def quantity_readings(reader: Reader, selection: Selection, quantity: str) -> Iterator[list[StoredReading]]:
    """The readings of a quantity in unit order; none for a quantity that no ball is measured for.

    One query a chunk, and one more for its manners that did not occur before.
    """
    if quantity not in NUMBERS.names:
        return
    read = manner_conditions(reader.transaction, lambda text: quantity in parse_manner(text))
    texts, left = MannerTexts(reader.transaction), selection.limit
    while left > 0:
        asked = min(CHUNK, left)
        conditions, values = conditions_of(selection)
        rows = reader.transaction.rows(
            f"{_TEXT} WHERE {' AND '.join([*conditions, *(condition for condition, _ in read)])} "
            f'ORDER BY u."unit" LIMIT {asked}',
            [*values, *(value for _, value in read)],
        )
        found = _readings(rows, quantity, texts) if rows else []
        if found:
            yield found
        if len(rows) < asked:
            return
        left -= len(found)
        selection = selection._replace(after=rows[-1][0])


def _readings(rows: Sequence[Sequence[Any]], quantity: str, texts: MannerTexts) -> list[StoredReading]:
    """Of the rows those that have a reading of the quantity."""
    stated = f"{quantity}_u"
    numbers = NUMBERS.columns([row[-1] for row in rows], (quantity, stated))
    if quantity not in numbers:
        return []
    values = numbers[quantity].tolist()
    expanded = numbers[stated].tolist() if stated in numbers else [EMPTY] * len(rows)
    known = texts.of(dict.fromkeys([row[-3] for row in rows]))
    return [
        StoredReading(*row[:-3], value, known[row[-3]], row[-2], None if u == EMPTY else u)  # type: ignore[call-arg]  # see _TEXT
        for row, value, u in zip(rows, values, expanded, strict=True)
        if value != EMPTY
    ]


_TEXT = (
    'SELECT u."unit", u."serial", u."lot", u."place", u."weight_class", u."began_ms", u."engraved_ms", '
    'm."manner", m."sources", m."numbers" '
    'FROM "unit" u JOIN "lot" l ON l."lot" = u."lot" JOIN "measured" m ON m."unit" = u."unit"'
)
