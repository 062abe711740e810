"""Retention: what is kept of people in a decided claim is erased once the date has passed until which it was to be kept.

Due are the erasable fields of every fact about the claim (who claims, how to reach them, who drilled, notes, whom a letter
went to), as first said and as any correction said them, and the bytes of its files and of the letters that answered it.
The note of a correction is due with the claims that it corrects, where it corrects nothing else.  A file that another claim
names too stays until that one is due as well, and one that a rulebook or the like is kept by is never erased.

The file that claims were imported from holds what all its lines say of people, and nothing rests on it once they are
entered: it goes with the first of its claims, and so do the words on its refused lines.

A claim without a date of its own is due so many days after its decision as the terms say that the plant has adopted
(``keep_days``); with no terms adopted it is left alone, as is every claim that is not decided.

The date is past from the day after it, by the calendar of UTC.  What is due stays due until it is entered, and each is
entered once: the book itself tells what was erased.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from typing import NamedTuple

from msgspec import UNSET

from ledger.book.instant import Instant, format_instant
from ledger.conformity.from_rows import day_of
from ledger.line.blob_erasures import RESTED_ON, BlobErasure
from ledger.line.claim_rows import Claim, ClaimEvidence
from ledger.line.claims import UNDECIDED, ClaimOpened, files_named
from ledger.line.corrections import Correction
from ledger.line.erasure_rows import ErasedBlob
from ledger.line.erasures import Erasure
from ledger.line.fact import parse_address
from ledger.line.import_rows import ImportedStretch
from ledger.line.record import Record
from ledger.line.rows import About, FactRow, Row
from ledger.line.submission import Submission
from ledger.store.adopted_terms import AdoptedTerms
from ledger.store.blobs import stored_blobs
from ledger.store.bodies import BodyReader
from ledger.store.openings import erasable_paths
from ledger.store.reader import Reader
from ledger.store.selections import every_row, rows_with
from ledger.warranty.exposure import DAY_MS
from ledger.warranty.terms import DEFAULT_TERMS

MOST = 200
"""Fields or files in one erasure."""

REASON = "kept-until-passed"


class Told(NamedTuple):
    """A fact as it was said, at first or by a correction: the entry, what its paths start with, and the files it names.

    ``source``: the file that it was imported from, or empty.
    """

    entry: int
    prefix: str
    files: frozenset[str] = frozenset()
    source: str = ""


class Retention:
    """Looks for what is due, at most once an hour where nothing was: a date passes once a day."""

    EVERY_MS = 3_600_000

    def __init__(self) -> None:
        """The first look is due at once."""
        self._next_ms = 0

    def due(self, reader: Reader, now_ms: int) -> list[Submission]:
        """The erasures that are due now, as submissions whose keys make each said once."""
        if now_ms < self._next_ms:
            return []
        found = list(due_retention(reader, now_ms))
        if not found:
            self._next_ms = now_ms + self.EVERY_MS
        return found


def due_retention(reader: Reader, now_ms: int) -> Iterator[Submission]:
    """The erasures that are due at an instant. Cost: the claims whose date has passed, and the facts about them."""
    at = format_instant(Instant(now_ms, 0))
    dated = due_claims(every_row(reader.transaction, Claim, '"keep_until" < ?', (at[:10],)), at[:10])
    claims = sorted({*dated, *_due_by_terms(reader, now_ms)})
    if not claims:
        return
    said = _said(reader, claims)
    imported, words = _imports(reader, said)
    opened = erasable_paths(reader.transaction, {one.entry for one in (*said, *words)})
    for index, paths in sorted(due_fields([*said, *words], opened).items()):
        for portion in _portions(paths):
            record = Erasure(at=at, entry=index, fields=portion, basis="expiry", reason=REASON)
            yield Submission(key=f"retention-{index}-{portion[0].replace('/', '.')}", records=(record,))
    named = {digest for one in said for digest in one.files}
    for portion in _portions(_files(reader, claims, named | imported)):
        erased = BlobErasure(at=at, blobs=portion, basis="expiry", reason=REASON)
        yield Submission(key=f"retention-{portion[0]}", records=(erased,))


def due_claims(claims: Iterable[Claim], today: str) -> list[str]:
    """The decided claims whose date has passed, by id; ``today`` is an ISO date."""
    return sorted(
        claim.claim
        for claim in claims
        if claim.keep_until is not None and claim.keep_until < today and claim.state not in UNDECIDED
    )


def _due_by_terms(reader: Reader, now_ms: int) -> set[str]:
    """The decided claims without a date that were decided longer ago than the plant's terms keep them."""
    terms = AdoptedTerms(reader).on(day_of(now_ms)).terms
    if terms is DEFAULT_TERMS:
        return set()
    before_ms = now_ms - terms.keep_days * DAY_MS
    claims: list[Claim] = every_row(reader.transaction, Claim, '"keep_until" IS NULL AND "opened_ms" < ?', (before_ms,))
    decided = {claim.decided: claim.claim for claim in claims if claim.state not in UNDECIDED and claim.decided}
    facts: list[FactRow] = rows_with(reader, FactRow, "address", decided)
    return {decided[fact.address] for fact in facts if fact.at_ms < before_ms}


def kept_of(reader: Reader, claim: str) -> dict[int, tuple[str, ...]]:
    """What of people is still kept of a claim: the paths of erasable fields by the index of their entry.

    The notes of corrections are among them, which may speak of other facts too.
    """
    said = _said(reader, [claim], every_note=True)
    found = due_fields(said, erasable_paths(reader.transaction, {one.entry for one in said}))
    return {index: tuple(sorted(paths)) for index, paths in sorted(found.items())}


def due_fields(said: Iterable[Told], opened: dict[int, list[str]]) -> dict[int, set[str]]:
    """The fields of what was said, of those that can still be opened: paths by the index of their entry."""
    found: dict[int, set[str]] = {}
    for one in said:
        paths = {path for path in opened.get(one.entry, ()) if path.startswith(one.prefix)}
        if paths:
            found.setdefault(one.entry, set()).update(paths)
    return found


def _portions(names: Collection[str]) -> Iterator[tuple[str, ...]]:
    ordered = sorted(names)
    for start in range(0, len(ordered), MOST):
        yield tuple(ordered[start : start + MOST])


def _said(reader: Reader, claims: list[str], *, every_note: bool = False) -> list[Told]:
    """What was said about the claims; a fact that a correction took from a claim was about it once.

    ``every_note``: with the notes of corrections that correct other facts too.
    """
    nodes = [f"{once}claim:{claim}" for claim in claims for once in ("", "once:")]
    about: list[About] = rows_with(reader, About, "node", nodes)
    facts: list[FactRow] = rows_with(reader, FactRow, "address", {row.address for row in about})
    told = {row.address for row in facts if row.kind.startswith("claim-")}
    corrections: list[About] = rows_with(reader, About, "node", sorted(f"fact:{fact}" for fact in told))
    indexes = {parse_address(fact)[0] for fact in told} | {row.index for row in corrections}
    entries = BodyReader(reader.transaction.dialect).opened(reader.transaction, indexes) if indexes else {}
    return [
        one
        for index, entry in sorted(entries.items())
        for position, record in enumerate(entry.records)
        for one in _told(index, position, record, told, every_note=every_note)
    ]


def _told(index: int, position: int, record: Record, facts: set[str], *, every_note: bool) -> Iterator[Told]:
    if isinstance(record, Correction):
        corrected = {change.fact for change in record.changes}
        if corrected <= facts or (every_note and not corrected.isdisjoint(facts)):
            yield Told(index, f"{position}/note")
        for number, change in enumerate(record.changes):
            if change.fact in facts and isinstance(change.replacement, Record):
                prefix = f"{position}/changes/{number}/replacement/"
                yield _as_told(index, prefix, change.replacement)
    elif f"{index}.{position}" in facts:
        yield _as_told(index, f"{position}/", record)


def _as_told(index: int, prefix: str, record: Record) -> Told:
    imported = record.imported if isinstance(record, ClaimOpened) else UNSET
    source = "" if imported is UNSET else imported.file
    return Told(index, prefix, frozenset(files_named(record)), source)


def _imports(reader: Reader, said: Iterable[Told]) -> tuple[set[str], list[Told]]:
    """The stored files of claims that these were imported from, and the words on their refused lines."""
    sources = {one.source for one in said if one.source}
    rows: list[ImportedStretch] = rows_with(reader, ImportedStretch, "file", sources)
    # The bytes of a file may have been imported as something else too, which they are kept for.
    shared = {row.file for row in rows if row.what != "claims"}
    own = [row for row in rows if row.file not in shared]
    stored = stored_blobs(reader.transaction, sorted({row.file for row in own})) if own else {}
    words = []
    for row in own:
        index, position = parse_address(row.address)
        words.append(Told(index, f"{position}/refused/"))
    return set(stored), words


def _files(reader: Reader, claims: list[str], named: set[str]) -> set[str]:
    """The files that these claims alone name, that are not erased yet, and that nothing else is kept by."""
    due = set(claims)
    others: list[ClaimEvidence] = rows_with(reader, ClaimEvidence, "digest", named)
    kept = {row.digest for row in others if row.claim not in due}
    staying: list[tuple[type[Row], str]] = [(ErasedBlob, "digest"), *((row, column) for row, column, _ in RESTED_ON)]
    for row_type, column in staying:
        kept |= {getattr(row, column) for row in rows_with(reader, row_type, column, named)}
    return named - kept
