"""Claims on the balls of some shell lots, and how many balls those hold: queries that grow with the balls, not with the book."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from ledger.store.reader import Reader


class ClaimedBall(NamedTuple):
    """A claim on a ball of a lot, by the unit that it names or by a number that this ball alone bears or bore."""

    claim: str
    state: str
    unit: str
    lot: str
    place: int | None


class BallsAt(NamedTuple):
    """How many balls of a lot there are at a place; None for those whose place is not known."""

    lot: str
    place: int | None
    balls: int


def balls_of_lots(reader: Reader, lots: Sequence[str]) -> list[BallsAt]:
    """The balls of some shell lots, counted by lot and place. One query."""
    condition = reader.transaction.dialect.any_of('"lot"')
    text = (
        f'SELECT "lot", "place", count(*) FROM "unit" WHERE {condition} GROUP BY "lot", "place" ORDER BY "lot", "place"'
    )
    return [BallsAt(*row) for row in reader.transaction.rows_of(text, lots)]


def claims_of_lots(reader: Reader, lots: Sequence[str]) -> list[ClaimedBall]:
    """Every claim on a ball of these lots, once a ball, in order of claim. Three queries.

    A claim by a number that several balls bear is on none of them.
    """
    by_unit, by_number = _claims(reader, lots)
    numbers = sorted({number for number, _ in by_number})
    alone = _borne_once(reader, numbers)
    found = {(one.claim, one.unit): one for one in by_unit}
    found |= {(one.claim, one.unit): one for number, one in by_number if number in alone}
    return [found[key] for key in sorted(found)]


def _claims(reader: Reader, lots: Sequence[str]) -> tuple[list[ClaimedBall], list[tuple[str, ClaimedBall]]]:
    columns = 'c."claim", c."state", u."unit", u."lot", u."place"'
    of_lots = reader.transaction.dialect.any_of('u."lot"')
    named = f'SELECT {columns} FROM "unit" u JOIN "claim" c ON c."unit" = u."unit" WHERE {of_lots}'
    borne = (
        f'SELECT s."serial", {columns} FROM "unit" u JOIN "serial" s ON s."unit" = u."unit" '
        # Not IS NULL, for which SQLite would begin with every claim that names no unit.
        f'JOIN "claim" c ON c."serial" = s."serial" WHERE coalesce(c."unit", \'\') = \'\' AND {of_lots}'
    )
    by_unit = [ClaimedBall(*row) for row in reader.transaction.rows_of(named, lots)]
    by_number = [(number, ClaimedBall(*row)) for number, *row in reader.transaction.rows_of(borne, lots)]
    return by_unit, by_number


def _borne_once(reader: Reader, numbers: Sequence[str]) -> set[str]:
    condition = reader.transaction.dialect.any_of('"serial"')
    text = f'SELECT "serial" FROM "serial" WHERE {condition} GROUP BY "serial" HAVING count(DISTINCT "unit") = 1'
    return {number for (number,) in reader.transaction.rows_of(text, numbers)}
