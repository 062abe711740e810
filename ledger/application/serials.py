"""Allotting serials of the own scheme: from the counter, through the keyed permutation, entered before they are given."""

from __future__ import annotations

import threading

import msgspec

from ledger.application.said_before import said_before
from ledger.book.instant import Instant, format_instant
from ledger.errors import Contradiction, KeyReused, MalformedRecord
from ledger.line.allotting import SerialsAllotted
from ledger.line.record import Record
from ledger.line.rows import Counter
from ledger.line.serial import next_serials
from ledger.line.submission import Submission
from ledger.store.answer import Entered
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.writer import Writer

MOST = 1000
TRIES = 20


class Allotted(msgspec.Struct, frozen=True, kw_only=True):
    """Serials given to a station, and the entry that says so."""

    serials: tuple[str, ...]
    entry: int
    receipt: str


class Allotter:
    """Allots serials for one process: requests take turns, since each wants the counter's next value."""

    def __init__(self, store: Store, writer: Writer, secret: bytes) -> None:
        """``secret`` keys the permutation; ``writer`` enters what is allotted."""
        self._store = store
        self._writer = writer
        self._secret = secret
        self._turn = threading.Lock()

    def allot(self, *, station: str, count: int, key: str, author: str, now_ms: int) -> Allotted:
        """Allot ``count`` serials. The same key gives the same serials again.

        Where another process was served first, it is tried again with the counter as it is then, at most 20 times.
        Raises MalformedRecord for a count outside 1 to 1000, KeyReused, Contradiction when the counter kept moving.
        """
        if not 1 <= count <= MOST:
            raise MalformedRecord(
                "a count out of range", expected=f"1 to {MOST}", got=count, where="count", mend="ask for fewer"
            )
        at = format_instant(Instant(now_ms, 0))
        for _ in range(TRIES):
            with self._turn:
                records, fresh = self._records(station, count, key=key, author=author, at=at)
                try:
                    entered: Entered = self._writer.submit(Submission(key=key, records=records), author).result()
                except Contradiction as error:
                    if error.where.endswith("first"):
                        continue
                    raise
                except KeyReused:
                    # The same request, sent to two processes, may have been entered between the look and now.
                    if fresh:
                        continue
                    raise
            return Allotted(serials=_serials(records), entry=entered.index, receipt=entered.receipt)
        raise Contradiction("the serial counter kept moving", where="count", mend="ask again")

    def _records(self, station: str, count: int, *, key: str, author: str, at: str) -> tuple[tuple[Record, ...], bool]:
        """What is to be said, and whether it is new: under a used key it is what was said then."""
        with open_reader(self._store) as reader:
            told = said_before(reader, author, key, lambda records: _told(records) == (station, count))
            counter = reader.one(Counter, "own")
        if told is not None:
            return told, False
        first = 0 if counter is None else counter.next
        serials = tuple(next_serials(self._secret, first, count))
        return (SerialsAllotted(at=at, station=station, first=first, serials=serials),), True


def _told(records: tuple[Record, ...]) -> tuple[str, int] | None:
    """For which station how many serials were allotted; None for other records."""
    record = records[0]
    return (record.station, len(record.serials)) if isinstance(record, SerialsAllotted) else None


def _serials(records: tuple[Record, ...]) -> tuple[str, ...]:
    return tuple(serial for record in records if isinstance(record, SerialsAllotted) for serial in record.serials)
