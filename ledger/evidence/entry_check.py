"""The entries of a dossier, one at a time: under the checkpoint by their receipts, in chain, opened as they were sealed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple, Protocol

from ledger.book import canonical
from ledger.book.checkpoint import Checkpoint
from ledger.book.entry import Entry, entry_hash, parse_entry
from ledger.book.instant import instant_ms
from ledger.book.receipt import MAX_RECEIPT_BYTES
from ledger.book.sealed_field import Opening, check_opening, parse_sealed
from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.archive import Archive
from ledger.evidence.claim_files import FilesTally
from ledger.evidence.dossier import sealed_paths
from ledger.evidence.dossier_format import MAX_LINE_BYTES, MAX_OPENINGS_BYTES
from ledger.evidence.entry_facts import read_records
from ledger.evidence.entry_read import PlainEntry, plain_entry
from ledger.evidence.first_fault import naming_file
from ledger.evidence.proved_entry import ProvedEntry
from ledger.evidence.receipt_check import ReceiptCheck
from ledger.evidence.station_check import StationCheck
from ledger.line.erasure_rows import field_name
from ledger.line.erasures import Erasure
from ledger.line.record import Record


class EntryTaker(Protocol):
    """Whoever hears of the entries, in ascending order, once each was proved."""

    def take(self, entry: ProvedEntry, records: Sequence[Record]) -> None:
        """Take the next entry and its records, withheld fields of which read as ``0``."""
        ...


class EntriesFound(NamedTuple):
    """What is known of the entries once each was proved; what their stations signed is still to be checked."""

    tally: SealedTally
    stations: StationCheck


class SealedTally:
    """How many sealed fields are opened, withheld and erased.

    ``latest``: index of the entry recorded last, and when (POSIX milliseconds).
    """

    def __init__(self) -> None:
        """Start at nothing."""
        self.outcomes = {"opened": 0, "withheld": 0, "erased": 0}
        self.latest = (0, 0)
        self.files = FilesTally()
        self._told_erased: dict[str, int] = {}
        self._erasures: dict[str, str] = {}

    def take(self, index: int, path: str, outcome: str) -> None:
        """What is told of one sealed field."""
        self.outcomes[outcome] += 1
        if outcome == "erased":
            self._told_erased[field_name(index, path)] = index

    def hear(self, index: int, records: Sequence[Record]) -> None:
        """The records of an entry, after its sealed fields were taken."""
        self.files.hear(records)
        for position, record in enumerate(records):
            if isinstance(record, Erasure) and record.entry < index:
                for path in record.fields:
                    self._erasures[field_name(record.entry, path)] = f"{index}.{position}"

    def settle(self, archive: Archive) -> None:
        """Check that a field is told as erased exactly if an entry here says so. Raises DossierRejected."""
        for field, index in self._told_erased.items():
            if field not in self._erasures:
                raise DossierRejected(
                    "field is told as erased, and no entry here erased it", got=field, where=f"openings/{index}.jsonl"
                )
        for field, address in self._erasures.items():
            name = f"openings/{field.partition('/')[0]}.jsonl"
            if name in archive and field not in self._told_erased:
                raise DossierRejected(
                    f"field was erased by fact {address}, and is told otherwise", got=field, where=name
                )


def check_entries(
    archive: Archive,
    indexes: Iterable[int],
    checkpoint: Checkpoint,
    takers: Sequence[EntryTaker],
) -> EntriesFound:
    """Check the entries at ascending ``indexes`` and hand their records to ``takers``.

    Raises MalformedDossier or DossierRejected naming the file and the field.
    """
    before, before_hash, tally = -2, b"", SealedTally()
    receipts, stations = ReceiptCheck(checkpoint), StationCheck(archive)
    for index in indexes:
        name = f"entries/{index}.json"
        raw = archive.content(name, canonical.MAX_ENTRY_BYTES)
        own_hash, proof = entry_hash(raw), f"receipts/{index}.tlog-proof"
        with naming_file(proof):
            receipts.check(index, own_hash, archive.content(proof, MAX_RECEIPT_BYTES), proof)
        with naming_file(name):
            entry = plain_entry(raw) or parse_entry(raw)
            if (entry.index, entry.book) != (index, checkpoint.origin):
                got = f"{entry.index} of {entry.book}"
                raise DossierRejected(
                    "entry is another", expected=f"{index} of {checkpoint.origin}", got=got, where=name
                )
            if before == index - 1 and entry.prev != before_hash.hex():
                raise DossierRejected("entry does not follow the one before it", where=name)
        _check_openings(archive, index, _sealed(entry, name), tally)
        _check_time(entry, name, tally)
        records = entry.records if isinstance(entry, PlainEntry) else read_records(entry.said.records, name)
        with naming_file(name):
            stations.take(index, records, is_signed=bool(entry.signature))
        tally.hear(index, records)
        for taker in takers:
            taker.take(entry, records)
        before, before_hash = index, own_hash
    tally.settle(archive)
    return EntriesFound(tally, stations)


def _check_time(entry: ProvedEntry, name: str, tally: SealedTally) -> None:
    recorded_ms = instant_ms(entry.recorded_at)
    if recorded_ms < tally.latest[1]:
        where = f"{name}: recorded_at"
        raise DossierRejected("entry was recorded before the one before it", got=entry.recorded_at, where=where)
    tally.latest = (entry.index, recorded_ms)


def _sealed(entry: Entry | PlainEntry, where: str) -> Sequence[tuple[str, str]]:
    """The sealed fields of an entry: path and digest of each."""
    if isinstance(entry, PlainEntry):
        return ()
    with naming_file(where):
        try:
            return [(path, parse_sealed(value)) for path, value in sealed_paths(entry.said.records)]
        except (LookupError, TypeError, AttributeError) as error:
            raise MalformedDossier("record does not fit its kind", got=str(error), where=where) from error


def _check_openings(archive: Archive, index: int, sealed: Sequence[tuple[str, str]], tally: SealedTally) -> None:
    name = f"openings/{index}.jsonl"
    if (name in archive) != bool(sealed):
        raise MalformedDossier("openings do not fit the entry", expected=f"{len(sealed)} sealed fields", where=name)
    if not sealed:
        return
    archive.read(name, MAX_OPENINGS_BYTES)
    lines = archive.lines(name, MAX_LINE_BYTES)
    for path, digest in sealed:
        with naming_file(f"{name}: {path}"):
            tally.take(index, path, _check_opening_line(next(lines, b""), path, digest))
    if next(lines, None) is not None:
        raise MalformedDossier("openings of fields that the entry does not have", where=name)


def _check_opening_line(line: bytes, path: str, digest: str) -> str:
    told = canonical.decode(line)
    fields = told if isinstance(told, dict) else {}
    outcome, salt = fields.get("outcome"), fields.get("salt")
    if outcome == "opened":
        expected, shaped = {"outcome", "path", "salt", "value"}, isinstance(salt, str)
    else:
        expected, shaped = {"outcome", "path"}, outcome in ("withheld", "erased")
    if not shaped or fields.keys() != expected:
        raise MalformedDossier("line has another shape", expected="outcome, path; salt and value too where opened")
    if fields["path"] != path:
        raise MalformedDossier("opening is of another field", expected=path, got=fields["path"], where=path)
    if outcome == "opened":
        check_opening(Opening(path, _salt(str(salt), path), fields["value"]), digest)
    return str(outcome)


def _salt(text: str, path: str) -> bytes:
    try:
        salt = bytes.fromhex(text)
    except ValueError as error:
        raise MalformedDossier("salt is not hex", where=path) from error
    if salt.hex() != text:
        raise MalformedDossier("salt is not in its one form", expected="lower-case hex", where=path)
    return salt
