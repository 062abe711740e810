"""Checking the openings of sealed fields against the entries that sealed them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import msgspec

from ledger.book.sealed_field import check_opening
from ledger.errors import LedgerError, SealedFieldMismatch
from ledger.line.record import sealed_places
from ledger.line.submission import record_type_of
from ledger.store.openings import StoredOpening, openings_between
from ledger.store.transaction import Transaction

_SEALED = b'{"sealed":"'


def check_openings(transaction: Transaction, start: int, raws: Sequence[bytes]) -> int:
    """Check the openings of proved entries from index ``start`` on; how many there are.

    Each opens the field that it names; a field that cannot be erased has one. Raises SealedFieldMismatch.
    """
    stop = start + len(raws)
    try:
        found = openings_between(transaction, start, stop)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise SealedFieldMismatch("an opening cannot be read", where=f"entries {start} to {stop - 1}") from error
    kept: defaultdict[int, dict[str, StoredOpening]] = defaultdict(dict)
    for one in found:
        kept[one.index][one.opening.path] = one
    for index in sorted({*kept, *(start + place for place, raw in enumerate(raws) if _SEALED in raw)}):
        _check_entry(index, raws[index - start], kept[index])
    return len(found)


def _check_entry(index: int, raw: bytes, kept: dict[str, StoredOpening]) -> None:
    left = dict(kept)
    for position, body in enumerate(msgspec.json.decode(raw)["said"]["records"]):
        for place in sealed_places(record_type_of(body, position), body):
            path = f"{position}/{place.path}"
            _check_field(f"entry {index}, {path}", place.sealing, place.holder[place.key], left.pop(path, None))
    if left:
        raise SealedFieldMismatch("an opening of nothing", where=f"entry {index}, {min(left)}")


def _check_field(where: str, sealing: str, content: object, one: StoredOpening | None) -> None:
    if one is None:
        if sealing != "erasable":
            raise SealedFieldMismatch("an opening that is never erased is missing", where=where)
        return
    if one.sealing != sealing:
        raise SealedFieldMismatch("an opening is kept as another sort", expected=sealing, got=one.sealing, where=where)
    commitment = content.get("sealed") if isinstance(content, dict) else None
    try:
        check_opening(one.opening, str(commitment))
    except LedgerError as error:
        raise SealedFieldMismatch("an opening does not match what was sealed", where=where) from error
