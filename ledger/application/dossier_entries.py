"""The entries of a dossier, in stretches: their bytes, receipts, and what of their sealed fields is told."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import Any

from ledger.application.dossier_receipts import Receipts
from ledger.book.entry import read_entry
from ledger.errors import StoreDamaged
from ledger.evidence.dossier import DossierEntry, sealed_paths
from ledger.evidence.entry_check import EntryTaker
from ledger.evidence.entry_facts import read_records
from ledger.evidence.withholding import Withholding
from ledger.line.claim_rows import ClaimEvidence
from ledger.line.erasure_rows import ErasedBlob, ErasedField
from ledger.line.fact import parse_address
from ledger.line.refold import ONCE
from ledger.line.rows import FactRow, Row
from ledger.store.openings import StoredOpening, openings_of
from ledger.store.reader import Reader
from ledger.store.selections import addresses_about, every_row, rows_with
from ledger.store.view_table import CORRECTED

MAKE_BALLS = ("ball-engraved", "unit-started")
"""Facts about a lot that are about one of its balls: they come with that ball, not with the others."""

STRETCH = 500
"""Entries, or nodes, asked for in one query."""


def dossier_entries(
    reader: Reader,
    indexes: Sequence[int],
    note: bytes,
    withholding: Withholding,
    takers: Sequence[EntryTaker] = (),
) -> Iterator[DossierEntry]:
    """The entries at ascending ``indexes``, with receipts against ``note``; ``takers`` hear of each, without what is sealed.

    Raises StoreDamaged for an opening that is missing and was not erased, and NotFound at the end for a field that
    ``withholding`` names and no entry has.
    """
    receipts = Receipts(reader, note)
    for start in range(0, len(indexes), STRETCH):
        stretch = indexes[start : start + STRETCH]
        openings: defaultdict[int, list[StoredOpening]] = defaultdict(list)
        for one in openings_of(reader.transaction, stretch):
            openings[one.index].append(one)
        erased: defaultdict[int, set[str]] = defaultdict(set)
        for row in _of_entries(reader, ErasedField, '"entry"', stretch):
            erased[row.entry].add(row.path)
        for index, raw in reader.entries_at(stretch):
            if takers:
                _tell(takers, index, raw)
            yield _entry(index, raw, receipts.receipt(index), openings[index], (frozenset(erased[index]), withholding))
    withholding.check_met()


def _tell(takers: Sequence[EntryTaker], index: int, raw: bytes) -> None:
    entry = read_entry(raw)
    records = read_records(entry.said.records, f"entry {index}")
    for taker in takers:
        taker.take(entry, records)


def _entry(
    index: int,
    raw: bytes,
    receipt: str,
    stored: Sequence[StoredOpening],
    closing: tuple[frozenset[str], Withholding],
) -> DossierEntry:
    erased, withholding = closing
    records = read_entry(raw).said.records
    missing = {path for path, _ in sealed_paths(records)} - {one.opening.path for one in stored} - erased
    if missing:
        raise StoreDamaged("an opening is missing that no erasure names", where=f"entry {index}, {min(missing)}")
    told = [one.opening for one in stored if not withholding.covers(index, one.opening.path, one.sealing)]
    return DossierEntry(index=index, raw=raw, receipt=receipt, openings=told, erased=erased)


class StoredFacts:
    """Where the entries of a dossier are found; see `ledger.evidence.needed_entries`."""

    def __init__(self, reader: Reader) -> None:
        """Read within the reader's look."""
        self._reader = reader

    def about(self, nodes: Collection[str]) -> Iterator[str]:
        """Addresses of the facts about the nodes; of lots, not those by which their balls were made."""
        lots = [node for node in nodes if node.removeprefix(ONCE).startswith("lot:")]
        for wanted, without in ((sorted(set(nodes) - set(lots)), ()), (sorted(lots), MAKE_BALLS)):
            for start in range(0, len(wanted), STRETCH):
                yield from addresses_about(self._reader.transaction, wanted[start : start + STRETCH], without)

    def bodies_in(self, indexes: Collection[int]) -> Iterator[str]:
        """Where the bodies of the facts said in these entries stand, of those corrected or withdrawn."""
        for row in _of_entries(self._reader, FactRow, f'{CORRECTED} AND "index"', indexes):
            yield row.body

    def erasures_in(self, indexes: Collection[int]) -> Iterator[str]:
        """Addresses of the facts that erased something said in these entries."""
        for row in _of_entries(self._reader, ErasedField, '"entry"', indexes):
            yield row.address
        yield from self._file_erasures(indexes)

    def _file_erasures(self, indexes: Collection[int]) -> Iterable[str]:
        """Addresses of the facts that erased a file which a claim of these entries names. Cost: the files ever erased."""
        erased = {row.digest: row.address for row in every_row(self._reader.transaction, ErasedBlob)}
        named: list[ClaimEvidence] = rows_with(self._reader, ClaimEvidence, "digest", erased.keys())
        return [erased[row.digest] for row in named if parse_address(row.address)[0] in indexes]


def _of_entries(reader: Reader, row: type[Row], column: str, indexes: Collection[int]) -> Iterator[Any]:
    wanted = sorted(indexes)
    for start in range(0, len(wanted), STRETCH):
        chunk = wanted[start : start + STRETCH]
        marks = ", ".join("?" for _ in chunk)
        yield from every_row(reader.transaction, row, f"{column} IN ({marks})", chunk)
