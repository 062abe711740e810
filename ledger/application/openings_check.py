"""Checking the openings of sealed fields against the entries that sealed them, and against those that erased them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import msgspec

from ledger.book.sealed_field import check_opening
from ledger.errors import LedgerError, SealedFieldMismatch, StoreDamaged
from ledger.line.erasure_rows import field_name
from ledger.line.erasures import Erasure, NameErasure
from ledger.line.record import Record, sealed_places
from ledger.line.submission import record_type_of
from ledger.store.accounts import account_names
from ledger.store.openings import StoredOpening, openings_between
from ledger.store.reader import Reader

ERASES = frozenset({str(kind.__struct_config__.tag) for kind in (Erasure, NameErasure)})
"""The kinds of records that say what was erased, by their tags."""


class OpeningsCheck:
    """Checks the openings of proved entries, which are appended in order from entry 0 on; then ``finish`` it.

    Each opening opens the field that it names.  A field has none only if it is erasable and a later entry erased it; what
    was erased has none.  Memory: what was erased.
    """

    def __init__(self, reader: Reader) -> None:
        """Nothing is checked yet."""
        self.count = 0
        """How many openings were checked."""
        self._reader = reader
        self._missing: dict[str, str] = {}
        self._erased: dict[str, str] = {}
        self._nameless: dict[str, str] = {}

    def append(self, start: int, stop: int, raws: Mapping[int, bytes]) -> None:
        """Check the openings of the entries from index ``start`` up to ``stop``. Raises SealedFieldMismatch. One query.

        ``raws``: those of them that may have some, or erase some.
        """
        try:
            found = openings_between(self._reader.transaction, start, stop)
        except (msgspec.MsgspecError, UnicodeDecodeError) as error:
            raise SealedFieldMismatch("an opening cannot be read", where=f"entries {start} to {stop - 1}") from error
        kept: defaultdict[int, dict[str, StoredOpening]] = defaultdict(dict)
        for one in found:
            kept[one.index][one.opening.path] = one
        for index in sorted({*kept, *raws}):
            raw = raws[index] if index in raws else self._reader.entry(index).bytes
            bodies: list[dict[str, Any]] = msgspec.json.decode(raw)["said"]["records"]
            self._check_entry(index, bodies, kept[index])
            self._hear(index, bodies)
        self.count += len(found)

    def _check_entry(self, index: int, bodies: Sequence[dict[str, Any]], kept: dict[str, StoredOpening]) -> None:
        left = dict(kept)
        for position, body in enumerate(bodies):
            for place in sealed_places(record_type_of(body, position), body):
                path = f"{position}/{place.path}"
                where, one = f"entry {index}, {path}", left.pop(path, None)
                if one is not None:
                    _check_field(where, place.sealing, place.holder[place.key], one)
                elif place.sealing == "erasable":
                    self._missing[field_name(index, path)] = where
                else:
                    raise SealedFieldMismatch("an opening that is never erased is missing", where=where)
        if left:
            raise SealedFieldMismatch("an opening of nothing", where=f"entry {index}, {min(left)}")

    def _hear(self, index: int, bodies: Sequence[dict[str, Any]]) -> None:
        """Remember what an entry says was erased before it."""
        for position, body in enumerate(bodies):
            kind: type[Record] = record_type_of(body, position)
            if kind is Erasure and body["entry"] < index:
                for path in body["fields"]:
                    self._erased[field_name(body["entry"], path)] = f"{index}.{position}"
            elif kind is NameErasure:
                self._nameless[body["account"]] = f"{index}.{position}"

    def finish(self) -> None:
        """Compare what is missing with what was erased. Raises SealedFieldMismatch, StoreDamaged."""
        for field, where in self._missing.items():
            if field not in self._erased:
                raise SealedFieldMismatch(
                    "an opening is missing that no erasure names",
                    where=where,
                    mend="restore it from a copy of the store",
                )
        for field, address in self._erased.items():
            if field not in self._missing:
                entry, _, path = field.partition("/")
                raise SealedFieldMismatch(
                    f"an opening is there that fact {address} erased",
                    where=f"entry {entry}, {path}",
                    mend="delete the row: it was put back from an older copy",
                )
        known = account_names(self._reader.transaction, list(self._nameless))
        for account in sorted(name for name, rows in known.items() if any(row.named for row in rows)):
            raise StoreDamaged(
                f"a name is there that fact {self._nameless[account]} erased",
                where=f"account {account}",
                mend="set it to null: it was put back from an older copy",
            )


def _check_field(where: str, sealing: str, content: object, one: StoredOpening) -> None:
    if one.sealing != sealing:
        raise SealedFieldMismatch("an opening is kept as another sort", expected=sealing, got=one.sealing, where=where)
    commitment = content.get("sealed") if isinstance(content, dict) else None
    try:
        check_opening(one.opening, str(commitment))
    except LedgerError as error:
        raise SealedFieldMismatch("an opening does not match what was sealed", where=where) from error
