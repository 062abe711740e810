"""Checking the files that claims and approval files name: each is kept with the bytes of its digest, or a fact erased it.

It goes by the views, so that it says something of the book where those are what the entries give
(`ledger.application.proofs.check_book` compares them).  A file that a correction took out of a claim is looked at no more.
"""

from __future__ import annotations

import msgspec

from ledger.errors import StoreDamaged
from ledger.line.approval_rows import (
    ApprovalAnnouncement,
    ApprovalChange,
    ApprovalFreeze,
    ApprovalPart,
    ApprovalReply,
)
from ledger.line.claim_rows import ClaimEvidence
from ledger.line.erasure_rows import ErasedBlob
from ledger.line.rows import Row
from ledger.store.blobs import read_blobs
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.selections import every_row

_APPROVALS: tuple[tuple[type[Row], str, str], ...] = (
    (ApprovalAnnouncement, "candidates", "announcement"),
    (ApprovalPart, "digest", "address"),
    (ApprovalFreeze, "digest", "freeze"),
    (ApprovalReply, "letter", "reply"),
    (ApprovalChange, "letter", "reported"),
)
"""Rows of approval files that name a file: the column with its digest, and the one with the fact that names it."""

_AT_ONCE = 8
"""Files read at once: each may be as long as a blob may."""


class FilesReport(msgspec.Struct, frozen=True, kw_only=True):
    """How many files claims and approval files name, and how many of those a fact erased; the rest are kept as they came."""

    named: int
    erased: int


def check_files(store: Store) -> FilesReport:
    """Check every file that a claim or an approval file names. One look at the store. Raises StoreDamaged. Cost: the bytes of the files."""
    with open_reader(store) as reader:
        evidence: list[ClaimEvidence] = every_row(reader.transaction, ClaimEvidence)
        named = {row.digest: row.address for row in sorted(evidence, key=lambda row: row.evidence, reverse=True)}
        named |= _of_approvals(reader)
        gone: list[ErasedBlob] = every_row(reader.transaction, ErasedBlob)
        erased = {row.digest: row.address for row in gone}
        digests = sorted(named.keys() | erased.keys())
        for start in range(0, len(digests), _AT_ONCE):
            chunk = digests[start : start + _AT_ONCE]
            kept = read_blobs(reader.transaction, chunk)
            for digest in chunk:
                _check_file(digest, named.get(digest, ""), erased.get(digest), is_kept=digest in kept)
    return FilesReport(named=len(named), erased=len(named.keys() & erased.keys()))


def _of_approvals(reader: Reader) -> dict[str, str]:
    """The files that approval files name, by digest: papers, lists of candidates, frozen documents, letters."""
    named: dict[str, str] = {}
    for row_type, column, address in _APPROVALS:
        for row in every_row(reader.transaction, row_type, f'"{column}" IS NOT NULL'):
            named.setdefault(getattr(row, column), getattr(row, address))
    return named


def _check_file(digest: str, named_by: str, erased_by: str | None, *, is_kept: bool) -> None:
    if erased_by is None and not is_kept:
        raise StoreDamaged(
            f"a file that fact {named_by} names is missing, and no erasure names it",
            where=f"blob {digest}",
            mend="restore it from a copy of the store",
        )
    if erased_by is not None and is_kept:
        raise StoreDamaged(
            f"a file is there that fact {erased_by} erased",
            where=f"blob {digest}",
            mend="delete the row: it was put back from an older copy",
        )
