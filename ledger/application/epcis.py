"""The history of a ball or of a lot as EPCIS 2.0 events, from one look at the store.

What is told of sealed fields is what `Withholding` leaves open, as in a dossier; people and notes are told nowhere.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from typing import TypeVar

from ledger.application.dossier_scope import serial_units
from ledger.application.one_sheet import one_sheet
from ledger.book.entry import read_entry
from ledger.errors import NotFound, TooLarge
from ledger.evidence.event_facts import EventFacts, ToldEntry, told_entry
from ledger.evidence.event_names import Plant
from ledger.evidence.events import Events, LotStory
from ledger.evidence.judged import judged_in
from ledger.evidence.withholding import Withholding
from ledger.line.fact import parse_address
from ledger.line.import_rows import IMPORTED
from ledger.line.refold import ONCE
from ledger.line.rows import About, Descent, FactRow, Hold, Lot, Model, Row
from ledger.store.openings import openings_of
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, corrected_about, rows_with
from ledger.tracing.back import trace_back

STRETCH = 500
"""Entries, or nodes, asked for in one query."""

MOST_ENTRIES = 20_000
"""Entries that one answer may rest on."""

R = TypeVar("R", bound=Row)

_MAKE_BALLS = frozenset({"ball-engraved", "unit-started"})


def serial_events(reader: Reader, serial: str, stem: str, withholding: Withholding) -> bytes:
    """The document of the ball that bears a number now. Raises NotFound, MalformedLink for the stem."""
    unit = serial_units(reader, [serial])[0]
    found = one_sheet(reader, unit)
    lots = [found.rows.unit.lot, *(one.lot for one in found.rows.trace.ancestors)]
    nodes = [f"lot:{lot}" for lot in lots]
    entries = StoredEntries(reader, withholding)
    facts = EventFacts(lambda name: name == unit, entries.read)
    entries.take_into(facts, _indexes(reader, [f"unit:{unit}"], nodes))
    return Events(plant_of(reader, stem), facts).of_ball(found.rows, judged_in(found.sheet.tables))


def lot_events(reader: Reader, lot: str, stem: str, withholding: Withholding) -> bytes:
    """The document of a lot. Raises NotFound, also for a lot made before the book; TooLarge; MalformedLink."""
    row = reader.one(Lot, lot)
    if row is None or row.stage == IMPORTED:
        raise NotFound(f"lot {lot} was not made in this book", where="lot", mend="correct the lot's id")
    story = _lot_story(reader, lot)
    above = [f"lot:{name}" for name in story.above]
    entries = StoredEntries(reader, withholding)
    facts = EventFacts(lambda _unit: True, entries.read, uses=True)
    entries.take_into(facts, _indexes(reader, [f"lot:{lot}"], above))
    return Events(plant_of(reader, stem), facts).of_lot(story)


def plant_of(reader: Reader, stem: str) -> Plant:
    """The plant whose book this is, with addresses under ``stem``. Raises MalformedLink."""
    return Plant(stem, read_entry(reader.entry(0).bytes).book)


def _lot_story(reader: Reader, lot: str) -> LotStory:
    trace = trace_back(StoredEdges(reader), lot)
    above = [one.lot for one in trace.ancestors]
    below: list[Descent] = rows_with(reader, Descent, "parent", [lot])
    beside: list[Descent] = rows_with(reader, Descent, "child", sorted({edge.child for edge in below}))
    names = {lot, *above, *(edge.child for edge in below), *(edge.parent for edge in beside)}
    lots = {row.lot: row for row in rows_with(reader, Lot, "lot", sorted(names))}
    models: list[Model] = rows_with(reader, Model, "model", sorted({str(row.model) for row in lots.values()}))
    gtins = {model.model: model.gtin for model in models}
    shells = {name: gtins[row.model] for name, row in lots.items() if row.stage == "shell" and row.model in gtins}
    return LotStory(lot, above, [one.lot for one in trace.ancestors if one.certainty == "possible"], lots, shells)


def event_nodes(reader: Reader, nodes: Collection[str]) -> set[str]:
    """The nodes whose facts events about ``nodes`` are told from besides: what once was about them, their holds, and the
    corrections of their facts; those of which there are facts.
    """
    found: set[str] = set()
    wanted = sorted(nodes)
    for start in range(0, len(wanted), STRETCH):
        chunk = wanted[start : start + STRETCH]
        once: list[About] = rows_with(reader, About, "node", [f"{ONCE}{node}" for node in chunk])
        holds: list[Hold] = rows_with(reader, Hold, "node", chunk)
        told = {*(row.node for row in once), *(f"hold:{hold.hold}" for hold in holds)}
        corrected = corrected_about(reader.transaction, [*chunk, *sorted(told)])
        found |= told | {f"fact:{address}" for address in corrected}
    return found


def _indexes(reader: Reader, own: Sequence[str], above: Sequence[str]) -> list[int]:
    """The entries that tell of the nodes; of those above not the engravings, which are about other balls."""
    nodes = {*own, *event_nodes(reader, [*own, *above])}
    addresses = {one.address for one in _rows(reader, About, "node", nodes)}
    others = {one.address for one in _rows(reader, About, "node", above)}
    addresses |= {row.address for row in _rows(reader, FactRow, "address", others) if row.kind not in _MAKE_BALLS}
    found = sorted({parse_address(address)[0] for address in addresses})
    if len(found) > MOST_ENTRIES:
        raise TooLarge("too many entries tell of it", expected=f"at most {MOST_ENTRIES}", got=len(found))
    return found


def _rows(reader: Reader, row: type[R], column: str, values: Collection[str]) -> Iterator[R]:
    wanted = sorted(values)
    for start in range(0, len(wanted), STRETCH):
        yield from rows_with(reader, row, column, wanted[start : start + STRETCH])


class StoredEntries:
    """Entries of the store by index, with what of them may be told; the last thousands read are kept."""

    def __init__(self, reader: Reader, withholding: Withholding, kept: int = MOST_ENTRIES) -> None:
        """Read within the reader's look."""
        self._reader = reader
        self._withholding = withholding
        self._kept: dict[int, ToldEntry] = {}
        self._most = kept

    def read(self, index: int) -> ToldEntry:
        """An entry. Raises NotFound."""
        found = self._kept.get(index)
        return next(self.stretch([index])) if found is None else found

    def read_ahead(self, indexes: Collection[int]) -> None:
        """Have these entries kept, as far as they are not, for `read`: few queries instead of one for each."""
        wanted = sorted(index for index in indexes if index not in self._kept)
        for start in range(0, len(wanted), STRETCH):
            for _ in self.stretch(wanted[start : start + STRETCH]):
                pass

    def take_into(self, facts: EventFacts, indexes: Sequence[int]) -> None:
        """Have the entries at ascending indexes taken."""
        for start in range(0, len(indexes), STRETCH):
            for told in self.stretch(indexes[start : start + STRETCH]):
                facts.take(told.entry, told.records)

    def stretch(self, indexes: Sequence[int]) -> Iterator[ToldEntry]:
        """Entries at ascending indexes: two queries."""
        openings: defaultdict[int, dict[str, object]] = defaultdict(dict)
        for one in openings_of(self._reader.transaction, indexes):
            if not self._withholding.covers(one.index, one.opening.path, one.sealing):
                openings[one.index][one.opening.path] = one.opening.value
        for index, raw in self._reader.entries_at(indexes):
            if len(self._kept) >= self._most:
                self._kept.clear()
            found = self._kept[index] = told_entry(raw, openings[index], f"entry {index}")
            yield found
