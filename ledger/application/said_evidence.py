"""The files that claims name: stored here before the record is queued, and photos and papers of a type that can be shown.

What a claim names by its digest is durable before the entry that names it; a photo, a receipt, a letter and a drilling
sheet are PNG, JPEG or PDF by their own bytes (`file_types`), whatever they were called when they were sent.  How long a
file may be is the limit of blobs.

Goodwill needs nothing but a note of who granted it (common practice, no source).  The note is erasable and never reaches
the line, so that it is looked for here, before it is sealed.

A key that was used already is left to the writer, which enters nothing for it: a file may have been erased since.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from msgspec import UNSET

from ledger.access.tokens import Account
from ledger.application.file_types import file_type
from ledger.application.said_places import SaidPlace, said_places
from ledger.errors import RuleStands, UnknownSubject
from ledger.line.claim_rows import ClaimEvidence
from ledger.line.claims import ClaimDecided, ClaimExamined, ClaimOpened, ClaimReplied
from ledger.line.corrections import Correction
from ledger.line.record import Record
from ledger.line.submission import Submission, said_records
from ledger.store.blobs import blob_ends, erased_blobs
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader

_KINDS: frozenset[type[Record]] = frozenset({ClaimOpened, ClaimExamined, ClaimDecided, ClaimReplied})

LOOKED_AT: frozenset[type[Record]] = _KINDS | {Correction}
"""Kinds for which `check_said_evidence` may have to look into the store."""


class _Named(NamedTuple):
    """A file that a record names."""

    digest: str
    what: str
    where: str
    corrects: str


def check_said_evidence(store: Store, submission: Submission, account: Account) -> None:
    """Check the files and notes of the claim records of a submission (see above).

    Raises UnknownSubject for a file that is not stored, RuleStands for one of another type or erased, and for goodwill without
    a note.  Costs nothing where there are no such records; otherwise a few queries.
    """
    records = said_records(submission)
    if LOOKED_AT.isdisjoint(map(type, records)):
        return
    said = [one for one in said_places(records) if type(one.record) in _KINDS]
    named = [file for one in said for file in _files(one)]
    noted = _noted(submission)
    bare = [
        one
        for one in said
        if isinstance(one.record, ClaimDecided) and one.record.decision == "goodwill" and one.note_path not in noted
    ]
    if not named and not bare:
        return
    with open_reader(store) as reader:
        if reader.requested(account.account, submission.key) is not None:
            return
        for one in bare:
            raise RuleStands(
                "goodwill needs a note of who granted it (common practice, no source)",
                expected="a note",
                got="none",
                where=f"{one.where}.note",
                mend="say in the note who granted it; it is sealed, and can be erased",
            )
        _check_files(reader, named)


def _noted(submission: Submission) -> frozenset[str]:
    """The paths of the notes that a submission bears, before they are sealed."""
    if submission.signed is not None:
        return frozenset(opening.path for opening in submission.signed.openings)
    return frozenset(one.note_path for one in said_places(submission.records) if one.record.note is not UNSET)


def _files(said: SaidPlace) -> Iterator[_Named]:
    record = said.record
    if isinstance(record, ClaimOpened | ClaimExamined):
        for place, part in enumerate(record.evidence):
            yield _Named(part.digest, part.what, f"{said.where}.evidence[{place}]", said.corrects)
    elif isinstance(record, ClaimReplied):
        yield _Named(record.letter, "letter", f"{said.where}.letter", said.corrects)


def _check_files(reader: Reader, named: list[_Named]) -> None:
    if not named:
        return
    digests = [file.digest for file in named]
    stored = blob_ends(reader.transaction, digests)
    erased = erased_blobs(reader.transaction, digests)
    for file in named:
        if file.digest in erased and _named_by(reader, file):
            continue
        if file.digest in erased:
            raise RuleStands(
                f"the {file.what} was erased by fact {erased[file.digest].address}",
                expected="a file that is stored",
                got=file.digest,
                where=file.where,
                mend="name another file, or leave it out",
            )
        if file.digest not in stored:
            raise UnknownSubject(
                f"the {file.what} is not stored",
                got=file.digest,
                where=file.where,
                mend="send its bytes first (POST /blobs), then name it by the digest of the answer",
            )
        if file.what != "other" and not file_type(*stored[file.digest]):
            raise RuleStands(
                f"the {file.what} is no picture and no document, by its own bytes",
                expected="PNG, JPEG or PDF, whole",
                got=f"a file that begins with {stored[file.digest][0][:8].hex(' ') or 'nothing'}",
                where=file.where,
                mend="send a PNG, JPEG or PDF file, or name it as other",
            )


def _named_by(reader: Reader, file: _Named) -> bool:
    """Whether the fact that is corrected names the file already: what was erased since need not be left out of it."""
    return file.corrects in {row.address for row in reader.rows(ClaimEvidence, "digest", file.digest)}
