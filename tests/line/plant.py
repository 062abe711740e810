"""A book in memory for the tests of the line: it enters submissions as a writer does, with no store beneath.

Entries are made of real bytes and read back from them; view rows lie in plain dicts; facts with their standing bodies are
found through the rows alone, as a store finds them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import Any, NamedTuple

import msgspec
import pytest

from ledger.book.canonical import decode
from ledger.book.entry import GENESIS_HASH, assemble_entry, entry_hash
from ledger.book.instant import Instant, format_instant, instant_ms
from ledger.errors import LedgerError, Refused
from ledger.line.erasure_rows import AccountName, FieldOpening, StoredBlob, field_name
from ledger.line.erasures import Erasure, NameErasure
from ledger.line.fact import Breach, Fact
from ledger.line.fold import check_record, check_submission, earliest_of, enter, needs_of
from ledger.line.kind import Setting
from ledger.line.kinds import PLAIN_KIND_OF
from ledger.line.record import Record
from ledger.line.refold import OWNED, fold_nodes, refold, refold_needs
from ledger.line.rows import About, Body, FactRow, Row, Told
from ledger.line.state import Need, NotLoaded, State
from ledger.line.submission import Sealed, Submission, open_records, seal_submission
from ledger.line.views import VIEW_OF, VIEWS

ORIGIN = "plant.example/balls"

Said = tuple[tuple[Record, ...], str, int, tuple[tuple[Breach, ...], ...]]
"""What an entry says: records, author, instant it was recorded, breaches of each record."""


class Entered(NamedTuple):
    """The answer to a submission that stands."""

    at: int
    breaches: tuple[Breach, ...]

    @property
    def address(self) -> str:
        """The address of its first fact."""
        return f"{self.at}.0"

    @property
    def codes(self) -> list[str]:
        """The codes of its breaches, sorted."""
        return sorted(breach.code for breach in self.breaches)


class Answer(NamedTuple):
    """What a station is told that asks first."""

    may: bool
    reasons: tuple[str, ...]
    earliest: str | None


class Tables:
    """View rows by key, with an index for each column that rows are asked by."""

    def __init__(self) -> None:
        self.rows: dict[type[Row], dict[tuple[Any, ...], Row]] = {view.row: {} for view in VIEWS}
        self._index: dict[Need, dict[tuple[Any, ...], None]] = {}

    def where(self, row: type[Row], column: str, value: str) -> list[Any]:
        """The rows with a value in a column, by key."""
        keys = sorted(self._index.get(Need(row, column, value), ()))
        return [self.rows[row][key] for key in keys]

    def take(self, state: State) -> None:
        """Store what changed in an overlay."""
        for row, (rows, gone) in state.take_changes().items():
            for key in gone:
                self._replace(row, key, None)
            for one in rows:
                self._replace(row, tuple(getattr(one, column) for column in VIEW_OF[row].key), one)

    def _replace(self, row: type[Row], key: tuple[Any, ...], new: Row | None) -> None:
        old = self.rows[row].pop(key, None)
        for column in VIEW_OF[row].lookups:
            if old is not None:
                self._index.get(Need(row, column, getattr(old, column)), {}).pop(key, None)
            if new is not None:
                self._index.setdefault(Need(row, column, getattr(new, column)), {})[key] = None
        if new is not None:
            self.rows[row][key] = new

    def listed(self) -> dict[str, list[Row]]:
        """Every row of every view, in key order."""
        return {row.__name__: [rows[key] for key in sorted(rows)] for row, rows in self.rows.items()}


class Plant:
    """The book: its entries, its view rows, and the overlay that goes on from one submission to the next."""

    def __init__(self) -> None:
        self.entries: list[bytes] = []
        self.said: list[Said] = []
        self.tables = Tables()
        self.now_ms = 0
        self.openings: dict[str, str] = {}
        self.names: set[str] = {"a-mary"}
        self.blobs: set[str] = set()
        self._state = State()
        self._hash = GENESIS_HASH
        self._salts = 0

    def submit(self, *records: Record, author: str = "a-mary", now: str | None = None) -> Entered:
        """Enter records as one submission. Raises what the line refuses it with, and then nothing has changed.

        Without ``now`` the service takes it at the latest instant that it names, or at the last one known.
        """
        check_submission(records)
        named = max(instant_ms(record.at) for record in records)
        now_ms = instant_ms(now) if now is not None else max(named, self.now_ms)
        index = len(self.entries)
        sealed = seal_submission(ORIGIN, Submission(key=f"k-{index}", records=records), self._fresh_salts)
        mark = self._state.mark()
        try:
            breaches = [
                self._enter(record, Setting(now_ms, author, index, n)) for n, record in enumerate(sealed.records)
            ]
            raw = self._assemble(sealed.said, breaches, author, now_ms)
            withheld = {
                opening.path: opening.value
                for opening, sealing in zip(sealed.openings, sealed.sealings, strict=True)
                if sealing == "withheld"
            }
            said = open_records(decode(sealed.said), withheld)
        except Exception:
            self._state.undo_to(mark)
            self._forget_after(records)
            raise
        self.said.append((said, author, now_ms, tuple(breaches)))
        self.entries.append(raw)
        self._keep_openings(index, sealed)
        self._hash, self.now_ms = entry_hash(raw), now_ms
        self._settle(records)
        return Entered(index, tuple(breach for found in breaches for breach in found))

    def _keep_openings(self, index: int, sealed: Sealed) -> None:
        """Openings by field, and account names, as a store keeps them: what was erased is gone."""
        for opening, sealing in zip(sealed.openings, sealed.sealings, strict=True):
            self.openings[field_name(index, opening.path)] = sealing
        for record in sealed.records:
            if isinstance(record, Erasure):
                for path in record.fields:
                    del self.openings[field_name(record.entry, path)]
            elif isinstance(record, NameErasure):
                self.names.remove(record.account)

    def _fresh_salts(self, count: int) -> list[bytes]:
        self._salts += count
        return [sha256(b"%d" % number).digest() for number in range(self._salts - count, self._salts)]

    def _assemble(self, said: bytes, breaches: Sequence[tuple[Breach, ...]], author: str, now_ms: int) -> bytes:
        found = [{**msgspec.to_builtins(breach), "record": n} for n, own in enumerate(breaches) for breach in own]
        return assemble_entry(
            book=ORIGIN,
            index=len(self.entries),
            prev=self._hash.hex(),
            recorded_at=format_instant(Instant(now_ms)),
            author=author,
            said_bytes=said,
            breaches=found,
        )

    def _enter(self, record: Record, setting: Setting) -> tuple[Breach, ...]:
        self._load_for(record, self._state)
        mark = self._state.mark()
        try:
            breaches = tuple(check_record(record, self._state, setting))
            enter(Fact(setting.index, setting.position, record, setting.author, setting.now_ms, breaches), self._state)
        except NotLoaded:
            self._state.undo_to(mark)
            raise
        return breaches

    def _settle(self, records: Iterable[Record]) -> None:
        self.tables.take(self._state)
        self._forget_after(records)

    def _forget_after(self, records: Iterable[Record]) -> None:
        """Corrections and re-checks load histories, which no later change of the overlay keeps up to date."""
        if any(type(record) not in PLAIN_KIND_OF for record in records):
            self._state.forget()

    def refused(self, *records: Record, author: str = "a-mary", now: str | None = None) -> LedgerError:
        """The error that a submission is refused with; it must leave the book as it was, and say where and what to mend."""
        before = (len(self.entries), self.tables.listed())
        with pytest.raises(LedgerError) as refusal:
            self.submit(*records, author=author, now=now)
        assert (len(self.entries), self.tables.listed()) == before
        assert (bool(refusal.value.where), bool(refusal.value.mend)) == (True, True)
        return refusal.value

    def ask(self, record: Record, *, author: str = "a-mary", now: str | None = None) -> Answer:
        """May this be done now? Nothing is kept of the question."""
        now_ms = instant_ms(record.at if now is None else now)
        state = State()
        self._load_for(record, state)
        setting = Setting(now_ms, author, len(self.entries), 0, asking=True)
        try:
            breaches = check_record(record, state, setting)
        except Refused as error:
            return Answer(may=False, reasons=(error.code,), earliest=None)
        return Answer(not breaches, tuple(breach.code for breach in breaches), earliest_of(breaches))

    def _load_for(self, record: Record, state: State) -> None:
        self._load(state, lambda: needs_of(record, state))

    def fill(self, state: State, needs: Any) -> None:
        """Load into a state what ``needs()`` names, asked again until it names nothing new."""
        self._load(state, needs)

    def _load(self, state: State, needs: Any) -> None:
        missing = [need for need in needs() if not state.has(need)]
        while missing:
            for need in missing:
                state.load(need, self._rows(need))
            missing = [need for need in needs() if not state.has(need)]

    def _rows(self, need: Need) -> list[Any]:
        if need.row is Told:
            facts = [self.fact(about.address) for about in self.tables.where(About, "node", need.value)]
            return [
                Told(node=need.value, index=fact.index, position=fact.position, fact=fact)
                for fact in facts
                if fact is not None
            ]
        if need.row is Body:
            fact = self.fact(need.value)
            plain = fact is not None and type(fact.record) in PLAIN_KIND_OF
            return [Body(address=need.value, fact=fact)] if plain else []
        if need.row is FieldOpening:
            sealing = self.openings.get(need.value)
            return [] if sealing is None else [FieldOpening(field=need.value, sealing=sealing)]
        if need.row is AccountName:
            return [AccountName(account=need.value, named=True)] if need.value in self.names else []
        if need.row is StoredBlob:
            return [StoredBlob(digest=need.value)] if need.value in self.blobs else []
        return self.tables.where(need.row, need.column, need.value)

    def fact(self, address: str) -> Fact | None:
        """The standing fact at an address, with the body that a correction gave it; None where it is withdrawn."""
        row = self.row(FactRow, address)
        if row is None or not row.standing:
            return None
        place = [int(part) for part in (row.body or row.address).split(".")]
        records, _, _, breaches = self.said[place[0]]
        record: Any = records[place[1]]
        own = breaches[place[1]]
        if row.body:
            record = record.changes[place[2]].replacement
            own = tuple(breach for breach in own if breach.change == place[2])
        return Fact(row.index, row.position, record, row.author, row.recorded_ms, own, row.body)

    def row(self, row: type[Row], key: str) -> Any:
        """The row of a view with a single-column key, or None."""
        return self.tables.rows[row].get((key,))

    def facts(self) -> list[Fact]:
        """Every standing fact in address order."""
        found = [self.fact(row.address) for row in self.tables.rows[FactRow].values() if isinstance(row, FactRow)]
        return sorted((fact for fact in found if fact is not None), key=lambda fact: (fact.index, fact.position))

    def rebuilt(self) -> Tables:
        """The tables that the entries give when they are entered anew, one by one, with no check run again."""
        fresh = Plant()
        for index, (records, author, now_ms, breaches) in enumerate(self.said):
            fresh.said.append((records, author, now_ms, breaches))
            for n, record in enumerate(records):
                fresh._load_for(record, fresh._state)
                enter(Fact(index, n, record, author, now_ms, breaches[n]), fresh._state)
            fresh._settle(records)
        return fresh.tables

    def refolded(self) -> Tables:
        """The tables after every node of the book was folded anew from the standing facts about it, all at once."""
        state = State()
        nodes = {
            about.node
            for about in self.tables.rows[About].values()
            if isinstance(about, About) and about.node.partition(":")[0] in OWNED
        }
        self._load(state, lambda: refold_needs(nodes, state))
        refold(fold_nodes(nodes, state), {}, state)
        fresh = Tables()
        for row_type, rows in self.tables.rows.items():
            for key, row in rows.items():
                fresh._replace(row_type, key, row)
        fresh.take(state)
        return fresh
