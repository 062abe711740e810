"""Files of claims in a store: asked for before they are named, erased with the entry that says so, and not kept again."""

from __future__ import annotations

import hashlib
from typing import Any

import pytest

from ledger.access.tokens import Account
from ledger.application.files_check import FilesReport, check_files
from ledger.application.proofs import check_book
from ledger.application.said_evidence import check_said_evidence
from ledger.book.instant import instant_ms
from ledger.duties.retention import due_retention
from ledger.errors import Contradiction, NotFound, RuleStands, StoreDamaged, UnknownSubject
from ledger.line.erasure_rows import ErasedBlob
from ledger.store.blobs import put_blob, read_blob
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views, rebuild_views
from ledger.store.writer import Writer
from tests.application.files import JPEG, PDF, SCRIPT, png
from tests.plant import AT, ORIGIN, SIGNER, said
from tests.stores import every_row

DESK = Account("a-desk", ("desk",))
PHOTO = hashlib.sha256(png()).hexdigest()
PAPER = hashlib.sha256(PDF).hexdigest()


def claimed(*digests: str, claim: str = "C-1", **fields: Any) -> dict[str, Any]:
    """A claim on nothing, with photos."""
    evidence = [{"digest": digest, "what": "photo"} for digest in digests]
    return {"kind": "claim-opened", "at": AT, "claim": claim, "mode": "void", "evidence": evidence, **fields}


def blob_erasure(*digests: str) -> dict[str, Any]:
    """An erasure of files, on request."""
    return {"kind": "blob-erasure", "at": AT, "blobs": list(digests), "basis": "request", "reason": "asked"}


def taken(store: Store, writer: Writer, key: str, *records: dict[str, Any]) -> Any:
    """Enter what is checked at the door first."""
    submission = said(key, *records)
    check_said_evidence(store, submission, DESK)
    return writer.submit(submission, DESK.account).result(30)


def test_a_file_is_named_once_it_is_stored(store: Store, writer: Writer) -> None:
    """Before that it is refused, and so is a photo that is none; a type stated with the bytes counts for nothing."""
    for raw in (png(), PDF, JPEG, SCRIPT):
        digest = hashlib.sha256(raw).hexdigest()
        with pytest.raises(UnknownSubject, match="not stored"):
            taken(store, writer, "early", claimed(digest))
        put_blob(store, raw, "image/png")
    with pytest.raises(RuleStands) as refusal:
        taken(store, writer, "script", claimed(PHOTO, hashlib.sha256(SCRIPT).hexdigest()))
    assert "records[0].evidence[1]" == refusal.value.where
    taken(store, writer, "claim", claimed(PHOTO, PAPER, hashlib.sha256(JPEG).hexdigest()))
    assert FilesReport(named=3, erased=0) == check_files(store)


def test_a_short_file_is_looked_at_whole(store: Store, writer: Writer) -> None:
    """One byte is no photo, nor does it stop the look at the others."""
    put_blob(store, b"\xff", "image/jpeg")
    with pytest.raises(RuleStands, match="begins with ff"):
        taken(store, writer, "claim", claimed(hashlib.sha256(b"\xff").hexdigest()))


def test_an_erased_file_is_gone_and_the_book_says_so(store: Store, writer: Writer) -> None:
    """Its bytes are in no row; reading it names the fact; book, views and files are right, live and made anew."""
    put_blob(store, png(), "image/png")
    taken(store, writer, "claim", claimed(PHOTO))
    erased = writer.submit(said("erase", blob_erasure(PHOTO)), "a-lead").result(30)
    assert png() not in [value for rows in every_row(store).values() for row in rows for value in row]
    with pytest.raises(NotFound, match=f"erased by fact {erased.addresses[0]} .request: asked"):
        read_blob(store, PHOTO)
    for _ in range(2):
        check_book(store, ORIGIN, [SIGNER.verifier])
        assert ([], FilesReport(named=1, erased=1)) == (compare_views(store), check_files(store))
        rebuild_views(store)
    with open_reader(store) as reader:
        row = reader.one(ErasedBlob, PHOTO)
    assert ErasedBlob(digest=PHOTO, address=erased.addresses[0], basis="request", reason="asked") == row


def test_erased_bytes_are_not_kept_again(store: Store, writer: Writer) -> None:
    """Nor named; the request that named them is still answered with its entry."""
    put_blob(store, png(), "image/png")
    first = taken(store, writer, "claim", claimed(PHOTO))
    writer.submit(said("erase", blob_erasure(PHOTO)), "a-lead").result(30)
    with pytest.raises(Contradiction, match="not kept again"):
        put_blob(store, png(), "image/png")
    with pytest.raises(NotFound):
        read_blob(store, PHOTO)
    with pytest.raises(RuleStands, match="was erased"):
        taken(store, writer, "again", claimed(PHOTO, claim="C-2"))
    again = taken(store, writer, "claim", claimed(PHOTO))
    assert (first.index, True) == (again.index, again.repeated)


def test_a_refused_erasure_deletes_nothing(store: Store, writer: Writer) -> None:
    """One file that there is not keeps the other; so does another record that is refused."""
    put_blob(store, png(), "image/png")
    taken(store, writer, "claim", claimed(PHOTO))
    lifted = {"kind": "hold-lifted", "at": AT, "hold": "NONE", "reason": "found-good"}
    for key, records in (("one", [blob_erasure(PHOTO, PAPER)]), ("two", [blob_erasure(PHOTO), lifted])):
        with pytest.raises(UnknownSubject):
            writer.submit(said(key, *records), "a-lead").result(30)
    assert png() == read_blob(store, PHOTO).bytes


def test_a_file_that_no_claim_names_is_erased_if_it_is_stored(store: Store, writer: Writer) -> None:
    """It was sent by mistake."""
    put_blob(store, PDF, "application/pdf")
    writer.submit(said("erase", blob_erasure(PAPER)), "a-lead").result(30)
    with pytest.raises(NotFound, match="erased"):
        read_blob(store, PAPER)


def test_a_missing_file_is_damage_and_so_is_one_that_came_back(store: Store, writer: Writer) -> None:
    """Deleted by hand it is told as missing, and not as erased; put back after its erasure it is told too."""
    put_blob(store, png(), "image/png")
    entered = taken(store, writer, "claim", claimed(PHOTO))
    with store.writing() as transaction:
        transaction.run('DELETE FROM "blob"')
    with pytest.raises(StoreDamaged, match=f"fact {entered.addresses[0]} names is missing"):
        check_files(store)
    erased = writer.submit(said("erase", blob_erasure(PHOTO)), "a-lead").result(30)
    assert FilesReport(named=1, erased=1) == check_files(store)
    with store.writing() as transaction:
        transaction.run('INSERT INTO "blob" VALUES (?, ?, ?, ?)', (PHOTO, "image/png", len(png()), png()))
    with pytest.raises(StoreDamaged, match=f"there that fact {erased.addresses[0]} erased"):
        check_files(store)


def test_what_was_kept_long_enough_is_found(store: Store, writer: Writer) -> None:
    """On the day after the date: fields of the decided claim and its photo; another claim's photo stays."""
    for shade in (0, 1):
        put_blob(store, png(shade), "image/png")
    other = hashlib.sha256(png(1)).hexdigest()
    kept = {"claimant": "a person", "keep_until": AT[:10]}
    index = taken(store, writer, "one", claimed(PHOTO, other, **kept)).index
    taken(store, writer, "two", claimed(other, claim="C-2", **kept))
    decided = {"kind": "claim-decided", "at": AT, "claim": "C-1", "decision": "goodwill", "reason": "goodwill"}
    settled = taken(store, writer, "settled", {**decided, "note": "granted by a person"}).index
    with open_reader(store) as reader:
        assert [] == list(due_retention(reader, instant_ms(AT)))
        due = [record for one in due_retention(reader, instant_ms(AT) + 86_400_000) for record in one.records]
    found = [(getattr(record, "entry", None), getattr(record, "fields", None) or record.blobs) for record in due]  # type: ignore[attr-defined]  # one of two kinds
    assert [(index, ("0/claimant",)), (settled, ("0/note",)), (None, (PHOTO,))] == found
