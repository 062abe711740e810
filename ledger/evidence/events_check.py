"""The events of a dossier against its entries: each document is made again and compared byte for byte.

Only where the addresses begin is taken from the documents themselves, since it is a setting of the plant and no fact of the
book; all documents of a dossier must agree in it, and the manifest's signature covers it.
"""

from __future__ import annotations

from collections.abc import Sequence

from ledger.book import canonical
from ledger.errors import DossierRejected, LedgerError, MalformedDossier, MalformedLink
from ledger.evidence.archive import Archive
from ledger.evidence.ball_sheet import BallRows
from ledger.evidence.dossier_format import MAX_EVENTS_BYTES, MAX_LINE_BYTES, first_difference, told_short
from ledger.evidence.entry_read import ProvedEntries
from ledger.evidence.event_facts import EventFacts, ToldEntry, told_entry
from ledger.evidence.event_names import Plant
from ledger.evidence.event_shapes import Document, event_fields, parse_events
from ledger.evidence.events import Events
from ledger.evidence.judged import Judged
from ledger.evidence.proved_entry import ProvedEntry
from ledger.line.record import Record

_KEPT_ENTRIES = 1_000


class EventsCheck:
    """Takes the entries of a dossier as they are checked, then checks the events of its balls one at a time."""

    def __init__(self, archive: Archive, origin: str, entries: ProvedEntries) -> None:
        """Check the events of ``archive``, of the book named."""
        self._archive = archive
        self._origin = origin
        self._facts = EventFacts(lambda unit: events_name(unit) in archive, self._read)
        self._events: Events | None = None
        self._terms = ""
        self._entries = entries
        self._opened: dict[int, ToldEntry] = {}

    @property
    def has_begun(self) -> bool:
        """Whether a ball's events told where the addresses begin."""
        return self._events is not None

    def take(self, entry: ProvedEntry, records: Sequence[Record]) -> None:
        """Take the next entry, which has been proved."""
        self._facts.take(entry, records)

    def check(self, rows: BallRows, judged: Sequence[Judged]) -> None:
        """Check the events of a ball whose sheet has these verdicts. Raises MalformedDossier or DossierRejected."""
        name = events_name(rows.unit.unit)
        raw = self._archive.content(name, MAX_EVENTS_BYTES)
        if self._is_made(raw, rows, judged):
            return
        said = parse_events(raw, name)
        found = self._maker(said, name).of_ball(rows, judged, quickly=False)
        if found == raw:
            return
        differs = first_difference(event_fields(said), event_fields(parse_events(found, name)))
        field, one, other = differs or ("", None, None)
        raise DossierRejected(
            "events differ from the entries", expected=told_short(other), got=told_short(one), where=f"{name}: {field}"
        )

    def _is_made(self, raw: bytes, rows: BallRows, judged: Sequence[Judged]) -> bool:
        """Whether these are to the byte the events made here; what is odd is left to be read, and named, in full."""
        if self._events is None:
            return False
        try:
            return self._events.of_ball(rows, judged) == raw
        except LedgerError:
            return False

    def _maker(self, said: Document, name: str) -> Events:
        terms = said.context[1].pb
        if self._events is None:
            try:
                plant = Plant(terms.removesuffix("/terms/"), self._origin)
            except MalformedLink as error:
                raise MalformedDossier("prefix stands for no address", got=terms, where=name) from error
            self._events, self._terms = Events(plant, self._facts), terms
        if terms != self._terms:
            raise DossierRejected("prefix stands for another address", expected=self._terms, got=terms, where=name)
        return self._events

    def _read(self, index: int) -> ToldEntry:
        """An entry that was proved before, with what its openings tell."""
        name = f"entries/{index}.json"
        if name not in self._archive:
            raise DossierRejected("a fact that is corrected here is not among the entries", expected=name)
        if f"openings/{index}.jsonl" not in self._archive:
            return ToldEntry(*self._entries.read(index), frozenset())
        found = self._opened.get(index)
        if found is None:
            if len(self._opened) >= _KEPT_ENTRIES:
                self._opened.clear()
            raw = self._archive.content(name, canonical.MAX_ENTRY_BYTES)
            found = self._opened[index] = told_entry(raw, self._openings(index), name)
        return found

    def _openings(self, index: int) -> dict[str, object]:
        name = f"openings/{index}.jsonl"
        lines = [canonical.decode(line) for line in self._archive.lines(name, MAX_LINE_BYTES)]
        return {one["path"]: one["value"] for one in lines if isinstance(one, dict) and one["outcome"] == "opened"}


def events_name(unit: str) -> str:
    """The file of a ball's events."""
    return f"events/{unit}.jsonld"
