"""The readings of balls as they are kept: narrow, since questions over every ball read them all.

What a row says in whole numbers is one packed value.  A plant has few manners of reading, and their texts are long: each
is kept once, in a table of its own, and a row names it by a digest of the text, so that folds in any order give the same.
The text of a manner stays when no ball is read in it any more: it says what a name stands for, and not that there is
something.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from hashlib import sha256
from typing import Any

import msgspec

from ledger.line.reading_rows import Measured
from ledger.line.rows import Row
from ledger.line.views import View
from ledger.store.dialect import quoted
from ledger.store.packed_numbers import NumberPacking
from ledger.store.view_table import ViewTable

MANNER_NAME = 32
"""Hex digits of a manner's name: 128 bits, so that nobody finds two manners of one name."""

_TEXTS = ("unit", "lot", "manner", "sources", "voided")
_ASKED = ("engraved_ms", "first_ms", "last_ms")
"""Numbers that rows are chosen by: columns of their own too."""

NUMBERS = NumberPacking(Measured.__struct_fields__[len(_TEXTS) :])
"""How the numbers of a row are packed: every field that is no text, in the order of the row."""

_EMPTY: dict[str, Any] = dict.fromkeys(NUMBERS.names)
_ASKED_PLACES = tuple(NUMBERS.names.index(name) for name in _ASKED)


class ReadingManner(Row, frozen=True, kw_only=True):
    """What the name of a manner stands for: the text of `Measured.manner`."""

    manner: str
    text: str


MANNERS = View(ReadingManner, "manner", ("manner",), ("manner",), lambda row: f"manner:{row.manner}")
"""Kept for the store's own sake: no fact puts such a row."""

_ENTER_MANNER = 'INSERT INTO {} ("manner", "text") VALUES (?, ?) ON CONFLICT ("manner") DO NOTHING'


# A station reads in the same manner all day.
@lru_cache(maxsize=4096)
def manner_name(text: str) -> str:
    """The name of a manner, 32 hex digits."""
    return sha256(text.encode()).hexdigest()[:MANNER_NAME]


class ReadingsTable(ViewTable):
    """`Measured`: its texts, the manner by name, and its numbers packed."""

    def __init__(self, view: View) -> None:
        """The columns beside the row's texts are the packed numbers, and those that rows are chosen by."""
        super().__init__(view, (*_TEXTS, *_ASKED), numbers=(bytes, False))
        self.to_tuple = _to_tuple

    def shown(self, alias: str, suffix: str = "") -> list[str]:
        """The texts, with that of the manner, and the packed numbers."""
        return [
            *(shown_manner(alias, suffix) if name == "manner" else f"{alias}.{quoted(name)}" for name in _TEXTS),
            f'{alias}."numbers"',
        ]

    def to_row(self, values: Sequence[Any]) -> Measured:
        """The row of its texts and packed numbers."""
        *texts, numbers = values
        return Measured(**{**_EMPTY, **dict(zip(_TEXTS, texts, strict=True)), **NUMBERS.unpack(numbers)})

    def writes(self, rows: Sequence[Row], suffix: str = "") -> Iterator[tuple[str, list[tuple[Any, ...]]]]:
        """The manners of the rows before the rows."""
        texts = dict.fromkeys([row.manner for row in rows])  # type: ignore[attr-defined]  # the rows of its view
        yield _ENTER_MANNER.format(quoted(MANNERS.table + suffix)), [(manner_name(text), text) for text in texts]
        yield from super().writes(rows, suffix)


class MannerTable(ViewTable):
    """The texts of manners, by name."""

    def compared(self, suffix: str = "") -> str:
        """Those in which some ball is read: which others there are hangs on how many entries were folded at a time."""
        return f'{super().compared(suffix)} WHERE "manner" IN (SELECT "manner" FROM {quoted(f"measured{suffix}")})'


def shown_manner(alias: str, suffix: str = "") -> str:
    """The text of a manner in a query over the readings."""
    return f'(SELECT r."text" FROM {quoted(MANNERS.table + suffix)} r WHERE r."manner" = {alias}."manner")'


def _to_tuple(row: Row) -> tuple[Any, ...]:
    unit, lot, manner, sources, voided, *numbers = msgspec.structs.astuple(row)
    asked = [numbers[place] for place in _ASKED_PLACES]
    return unit, lot, manner_name(manner), sources, voided, *asked, NUMBERS.pack(numbers)
