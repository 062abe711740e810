"""What stands under an idempotency key already, for requests whose records are made here and not by the caller.

Such records hold what was true when they were made (an instant, verdicts, the counter's next serials), so a retry would
make others.  Said again as they stand in the entry, the writer answers with that entry.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from ledger.errors import KeyReused, MalformedRecord
from ledger.line.record import Record
from ledger.line.submission import open_records
from ledger.store.answer import Entered
from ledger.store.bodies import decode_said
from ledger.store.engine import Store
from ledger.store.entry_breaches import breaches_at
from ledger.store.reader import Reader, open_reader


def said_before(
    reader: Reader, author: str, key: str, wanted: Callable[[tuple[Record, ...]], bool]
) -> tuple[Record, ...] | None:
    """The records that an author said under a key; None for a key not used yet. They must hold no sealed fields.

    Raises KeyReused when they are not what is ``wanted`` now.
    """
    index = reader.requested(author, key)
    if index is None:
        return None
    try:
        records = open_records(msgspec.json.decode(reader.entry(index).bytes)["said"], {})
    except MalformedRecord:
        # They hold a sealed field, so they are something else.
        records = ()
    if not records or not wanted(records):
        raise KeyReused(
            f"key {key} was used for something else, in entry {index}",
            where="Idempotency-Key",
            mend="use a new key for each request",
        )
    return records


def entered_before(store: Store, index: int, receipt: str) -> Entered:
    """An entry that stands, as the answer to who says the same again. Raises NotFound."""
    with open_reader(store) as reader:
        raw = reader.entry(index).bytes
    said = decode_said(raw)
    count = len(said.said["records"])
    return Entered(
        index=index,
        addresses=tuple(f"{index}.{position}" for position in range(count)),
        breaches=tuple(breaches_at(said.breaches, position) for position in range(count)),
        recorded_at=said.recorded_at,
        entry_bytes=raw,
        receipt=receipt,
        repeated=True,
    )
