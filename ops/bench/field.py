"""The field of one run: a copy of the book for the product, one for the floors, the rows recorded, the balls used up."""

from __future__ import annotations

import msgspec

from ledger.application.pourbook import Pourbook, wall_clock_ms
from ops.bench.books import book_of, copy_book
from ops.bench.plant import LABEL_STEM, ORIGIN, SIGNERS, make_ready, open_plant, ready_end, submissions
from ops.bench.raw_route import keep_rows
from ops.bench.recording import RecordingStore
from ops.bench.shim import build_shim
from ops.bench.storage import Storage


class Sizes(msgspec.Struct, frozen=True, kw_only=True):
    """How much is measured. ``balls`` in the book; ``rounds`` in turn; entries a round over HTTP and in bulk.

    ``warm``: registrations over HTTP before the clock starts, since a fresh process is slow for reasons of its own.
    ``page_asks``: how often each page is asked for.  ``dossier``: balls of the large dossier, which is made
    ``dossier_rounds`` times.  ``growth``: entries of the largest book of entries alone.  ``leaves``: of a tree beside a
    peer's.  ``signed``: a station signs each ball.
    """

    balls: int = 20_000
    rounds: int = 3
    http: int = 4_000
    warm: int = 300
    bulk: int = 4_000
    seconds: float = 4.0
    connections: int = 32
    flush_single: int = 200
    flush_grouped: int = 1_000
    page_asks: int = 20
    dossier: int = 20_000
    growth: int = 100_000
    leaves: int = 100_000
    dossier_rounds: int = 1
    signed: bool = False

    def used(self) -> int:
        """Balls that a run uses up at most: four cases over HTTP, one to four processes in five ways, beside a peer,
        and with parts timed.
        """
        flushes = self.flush_single + self.flush_grouped
        over_http = 18 * self.warm + 10 * self.http
        return self.recorded() + self.rounds * (over_http + 3 * self.bulk) + flushes

    def recorded(self) -> int:
        """Entries whose rows the floors write again."""
        return self.rounds * (self.warm + self.http + self.bulk)


class Field:
    """``product`` and ``floor`` hold copies of one book; `take` gives balls that nobody has registered yet."""

    def __init__(self, storage: Storage, sizes: Sizes, *, registers: bool = True) -> None:
        """Make or find the book and copy it; if anything is to be registered, make that ready and record the floors' rows."""
        self.storage = storage
        self.sizes = sizes
        self.balls = ready_end(sizes.balls)
        self.product = storage.folder / "product"
        self.floor = storage.folder / "floor"
        self.shim, self.no_shim = build_shim(storage.folder)
        self.plant = copy_book(storage, book_of(storage, sizes.balls, signed=sizes.signed), self.product)
        self._next = self.balls
        if registers:
            self._make_ready()

    def _make_ready(self) -> None:
        book = open_plant(self.plant)
        try:
            make_ready(book, self.plant, self.balls, self.sizes.used())
        finally:
            book.close()
        self.storage.settle(self.product)
        copy_book(self.storage, self.product, self.floor)
        self._record()

    def take(self, count: int) -> int:
        """The first of so many balls that are still to be registered."""
        first = self._next
        self._next += count
        return first

    def open(self) -> Pourbook:
        """The product's book, started."""
        return open_plant(self.plant)

    def _record(self) -> None:
        """Register balls one a commit, keep what was written, and leave it in the product's copy."""
        count = self.sizes.recorded()
        book = self.open()
        store = RecordingStore(book.store)
        book.close()
        recorder = Pourbook(store, origin=ORIGIN, signers=SIGNERS, label_stem=LABEL_STEM, clock_ms=wall_clock_ms)
        recorder._writer._limit = 1  # noqa: SLF001  # one entry a commit, so that each row has its entry
        recorder.start()
        try:
            keeper = self.plant.keeper()
            futures = [recorder.submit(one, keeper) for one in submissions(self.plant, self.take(count), count)]
            indexes = [future.result().index for future in futures]
        finally:
            recorder.close()
        self.storage.settle(self.product)
        keep_rows(self.floor, store.entries(), indexes[0])
