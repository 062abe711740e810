"""Erasing files: the bytes of a claim's photo, receipt or letter are destroyed, and the book says so.

The entries that name the file by its digest stand as they were: the digest says nothing of the bytes to whoever does not
have them.  Like every erasure it cannot be corrected or taken back, and the same bytes are not kept again.  Who deletes is
the store, in the transaction that enters the erasure (`ledger.store.erasing`).

A file that no claim names any more, or never did, may be erased as well, so also the file that claims were imported from.
Never erased are rulebooks, checklists and warranty terms, which decisions rest on, temperature logs, the letters of a
case, which show who was told to stop and name businesses, and what an approval file rests on or was answered with.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated

from msgspec import Meta

from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.approval_rows import (
    ApprovalAnnouncement,
    ApprovalChange,
    ApprovalFreeze,
    ApprovalPart,
    ApprovalReply,
)
from ledger.line.case_rows import CaseNotice
from ledger.line.claim_rows import ClaimEvidence, WarrantyTermsRow
from ledger.line.erasure_rows import ErasedBlob, StoredBlob
from ledger.line.erasures import Basis
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Digest, Record, Slug
from ledger.line.rows import ChecklistRow, Row, RulebookRow
from ledger.line.state import Need, State
from ledger.line.temperature_rows import TemperatureLog

RESTED_ON: tuple[tuple[type[Row], str, str], ...] = (
    (RulebookRow, "digest", "a rulebook"),
    (ChecklistRow, "digest", "a checklist"),
    (WarrantyTermsRow, "digest", "warranty terms"),
    (TemperatureLog, "digest", "a temperature log"),
    (CaseNotice, "letter", "a letter of a case"),
    (ApprovalAnnouncement, "candidates", "a list of candidates"),
    (ApprovalPart, "digest", "a paper of an approval file"),
    (ApprovalFreeze, "digest", "a frozen approval file"),
    (ApprovalReply, "letter", "a body's letter"),
    (ApprovalChange, "letter", "a letter to a body"),
)
"""The views whose rows name a file that must stay, the column with its digest, and what it is to them."""


class BlobErasure(Record, frozen=True, kw_only=True, tag="blob-erasure"):
    """The bytes of files are erased for ever, all that are named or none."""

    blobs: Annotated[tuple[Digest, ...], Meta(min_length=1, max_length=500)]
    basis: Basis
    reason: Slug


def _needs(record: BlobErasure, _state: State) -> Iterator[Need]:
    for digest in record.blobs:
        yield Need(ErasedBlob, "digest", digest)
        yield Need(StoredBlob, "digest", digest)
        yield Need(ClaimEvidence, "digest", digest)
        for row, column, _ in RESTED_ON:
            yield Need(row, column, digest)


def _check(record: BlobErasure, state: State, _setting: Setting) -> list[Breach]:
    if len(set(record.blobs)) != len(record.blobs):
        raise Contradiction("a file is erased twice at once", where="blobs", mend="name each file once")
    for place, digest in enumerate(record.blobs):
        _check_blob(digest, f"blobs[{place}]", state)
    return []


def _check_blob(digest: str, where: str, state: State) -> None:
    erased = state.one(ErasedBlob, digest)
    if erased is not None:
        raise Contradiction(
            f"file {digest} is erased already, by fact {erased.address}",
            where=where,
            mend="leave it out; nothing is left to erase",
        )
    for row, column, what in RESTED_ON:
        if state.where(row, column, digest):
            raise RuleStands(
                f"file {digest} is {what}, which others rest on",
                expected="a photo, a paper, or a file that nothing rests on",
                got=what,
                where=where,
                mend="leave it out",
            )
    if not state.where(ClaimEvidence, "digest", digest) and state.one(StoredBlob, digest) is None:
        raise UnknownSubject(
            f"no file {digest} is stored, and no claim names one",
            where=where,
            mend="name the SHA-256 of a file that a claim names, or that is stored",
        )


def _effects(fact: Fact, state: State) -> None:
    record: BlobErasure = fact.record  # type: ignore[assignment]  # the kind table pairs them
    for digest in record.blobs:
        state.put(ErasedBlob(digest=digest, address=fact.address, basis=record.basis, reason=record.reason))


def _about(record: BlobErasure) -> Iterable[str]:
    return dict.fromkeys(f"blob:{digest}" for digest in record.blobs)


BLOB_ERASURE = Kind(BlobErasure, "decision", _needs, _check, _effects, _about)
