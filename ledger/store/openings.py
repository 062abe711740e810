"""What opens the sealed fields of an entry: read here, entered by the writer, deleted by erasures (`ledger.store.erasing`)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from typing import Any

import msgspec

from ledger.book.sealed_field import Opening
from ledger.errors import StoreDamaged
from ledger.line.erasure_rows import FieldOpening, field_name
from ledger.line.rows import Row
from ledger.store.transaction import Transaction


class StoredOpening(msgspec.Struct, frozen=True):
    """An opening of entry ``index``; ``sealing`` is withheld or erasable."""

    index: int
    sealing: str
    opening: Opening


def openings_between(transaction: Transaction, start: int, stop: int) -> list[StoredOpening]:
    """All openings of the entries from ``start`` up to ``stop``, in order of entry and path."""
    found = transaction.rows(
        'SELECT "index", "sealing", "path", "salt", "value" FROM "opening" '
        'WHERE "index" >= ? AND "index" < ? ORDER BY "index", "path"',
        (start, stop),
    )
    return [_opening(*row) for row in found]


def openings_of(transaction: Transaction, indexes: Sequence[int]) -> list[StoredOpening]:
    """All openings of these entries, in order of entry and path. One query."""
    condition = transaction.dialect.any_of('"index"')
    found = transaction.rows_of(
        f'SELECT "index", "sealing", "path", "salt", "value" FROM "opening" WHERE {condition} ORDER BY "index", "path"',
        indexes,
    )
    return [_opening(*row) for row in found]


def _opening(index: int, sealing: str, path: str, salt: bytes, value: bytes) -> StoredOpening:
    opened: Any = msgspec.json.decode(value)
    return StoredOpening(index, sealing, Opening(path, salt, opened))


def field_openings(transaction: Transaction, fields: Collection[str]) -> dict[str, Sequence[Row]]:
    """Which of the fields (``12/0/note``) can be opened, and how they are sealed. One query, of whole entries."""
    wanted = set(fields)
    condition = transaction.dialect.any_of('"index"')
    rows = transaction.rows_of(
        f'SELECT "index", "path", "sealing" FROM "opening" WHERE {condition}',
        sorted({int(field.partition("/")[0]) for field in wanted}),
    )
    found: defaultdict[str, list[Row]] = defaultdict(list)
    for index, path, sealing in rows:
        field = field_name(index, path)
        if field in wanted:
            found[field].append(FieldOpening(field=field, sealing=sealing))
    return dict(found)


def erasable_paths(transaction: Transaction, indexes: Collection[int]) -> dict[int, list[str]]:
    """The erasable fields of entries that can still be opened: paths by index. One query."""
    condition = transaction.dialect.any_of('"index"')
    statement = f'SELECT "index", "path" FROM "opening" WHERE "sealing" = \'erasable\' AND {condition} ORDER BY 1, 2'
    found: defaultdict[int, list[str]] = defaultdict(list)
    for index, path in transaction.rows_of(statement, sorted(indexes)):
        found[index].append(path)
    return dict(found)


def delete_openings(transaction: Transaction, fields: Iterable[tuple[int, str]]) -> None:
    """Delete erasable openings by entry and path. Raises StoreDamaged where there is none: a check has just seen it."""
    for index, path in fields:
        deleted = transaction.run(
            'DELETE FROM "opening" WHERE "index" = ? AND "path" = ? AND "sealing" = \'erasable\'', (index, path)
        )
        if deleted != 1:
            raise StoreDamaged("an opening went away while it was erased", where=f"entry {index}, {path}")
