"""The balls of a part of the book that an outside auditor may look at: conditions over units and their lots."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from ledger.line.examination_rows import Examination
from ledger.store.transaction import Transaction

_FROM = '"unit" u JOIN "lot" l ON l."lot" = u."lot"'


class PartBall(NamedTuple):
    """A ball of a part."""

    unit: str
    serial: str | None
    model: str | None
    lot: str
    state: str
    weight_class: int | None
    engraved_ms: int | None


def balls_of_part(transaction: Transaction, part: Examination, *, after: str = "", limit: int) -> list[PartBall]:
    """The balls of a part in unit order, from behind ``after`` on."""
    conditions, values = _conditions(transaction, part)
    found = transaction.rows(
        f'SELECT u."unit", u."serial", l."model", u."lot", u."state", u."weight_class", u."engraved_ms" FROM {_FROM} '
        f'WHERE {conditions} AND u."unit" > ? ORDER BY u."unit" LIMIT {int(limit)}',
        [*values, after],
    )
    return list(map(PartBall._make, found))


def count_of_part(transaction: Transaction, part: Examination, most: int) -> int:
    """How many balls a part has, counted up to ``most``."""
    conditions, values = _conditions(transaction, part)
    found = transaction.row(
        f"SELECT COUNT(*) FROM (SELECT 1 FROM {_FROM} WHERE {conditions} LIMIT {int(most)}) counted", values
    )
    return int(found[0]) if found else 0


def is_in_part(transaction: Transaction, part: Examination, unit: str) -> bool:
    """Whether a ball belongs to a part."""
    conditions, values = _conditions(transaction, part)
    return transaction.row(f'SELECT 1 FROM {_FROM} WHERE {conditions} AND u."unit" = ?', [*values, unit]) is not None


def count_told(transaction: Transaction, node: str) -> int:
    """How many facts are about a node."""
    found = transaction.row('SELECT COUNT(*) FROM "about" WHERE "node" = ?', (node,))
    return int(found[0]) if found else 0


def _conditions(transaction: Transaction, part: Examination) -> tuple[str, Sequence[Any]]:
    """The conditions of a part, all of which must hold, and their values."""
    conditions, values = ['u."engraved_ms" IS NOT NULL'], list[Any]()
    dialect = transaction.dialect
    for column, names in (('l."model"', part.models), ('u."lot"', part.lots), ('u."unit"', part.units)):
        if names:
            conditions.append(dialect.any_of(column))
            values.append(dialect.list_value(names.split(",")))
    for condition, bound in (('u."engraved_ms" >= ?', part.made_from_ms), ('u."engraved_ms" <= ?', part.made_to_ms)):
        if bound is not None:
            conditions.append(condition)
            values.append(bound)
    return " AND ".join(conditions), values
