"""The texts of manners in questions over many balls, of which a row holds the name alone (see `readings_table`)."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Any

from ledger.store.transaction import Transaction

KEPT = 10_000
"""Manners that are looked at before the balls are, or kept in mind while these are read; a plant has few of them."""


class MannerTexts:
    """Looks texts up as they occur, and keeps the last ones in mind."""

    def __init__(self, transaction: Transaction) -> None:
        """Nothing is known yet."""
        self._transaction = transaction
        self._known: dict[str, str] = {}

    def of(self, names: Collection[str]) -> Mapping[str, str]:
        """The texts of these manners, each named once, and of others. One query for those that are not known."""
        unknown = [name for name in names if name not in self._known]
        if unknown:
            if len(self._known) > KEPT:
                self._known = {name: self._known[name] for name in names if name in self._known}
            condition = self._transaction.dialect.any_of('"manner"')
            text = f'SELECT "manner", "text" FROM "manner" WHERE {condition}'
            self._known.update(dict(self._transaction.rows_of(text, unknown)))
        return self._known


def manner_conditions(transaction: Transaction, meant: Callable[[str], bool]) -> list[tuple[str, Any]]:
    """A condition over ``m``, the readings, with its value: balls whose manner's text is ``meant``, and maybe more.

    None where it would leave out nothing, or has too many manners to look at: look at each ball.
    """
    rows = transaction.rows(f'SELECT "manner", "text" FROM "manner" LIMIT {KEPT}')
    names = [name for name, text in rows if meant(text)]
    if len(names) == len(rows) or len(rows) == KEPT:
        return []
    return [(transaction.dialect.any_of('m."manner"'), transaction.dialect.list_value(names))]
