"""Erasing files: which may be erased, and what the book remembers of it."""

from __future__ import annotations

from typing import Any

import pytest

from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.blob_erasures import BlobErasure
from ledger.line.checklists import ChecklistAdopted
from ledger.line.claim_rows import ClaimEvidence
from ledger.line.claims import Evidence
from ledger.line.corrections import Change, Correction
from ledger.line.erasure_rows import ErasedBlob
from ledger.line.rows import About
from ledger.line.warranty_terms import WarrantyTermsAdopted
from tests.line.claiming import PHOTO, RECEIPT, opened, replied, sold_plant
from tests.line.making import RULEBOOK, at
from tests.line.plant import Plant

CHECKLIST, TERMS = "c" * 64, "d" * 64


def blob_erasure(*blobs: str, **fields: Any) -> BlobErasure:
    """An erasure of files, on request."""
    return BlobErasure(**{"at": at(120), "blobs": blobs, "basis": "request", "reason": "asked", **fields})


def filed_plant() -> Plant:
    """A plant with a claim that names a photo, a receipt, and three files that are more than that; and a letter."""
    plant, _ = sold_plant()
    plant.submit(ChecklistAdopted(at=at(90), checklist="own", digest=CHECKLIST))
    plant.submit(WarrantyTermsAdopted(at=at(90), terms="own", digest=TERMS))
    odd = tuple(Evidence(digest=digest, what="other") for digest in (RULEBOOK, CHECKLIST, TERMS))
    plant.submit(opened(unit="U-1", evidence=(PHOTO, RECEIPT, *odd)), replied())
    return plant


def test_an_erasure_is_remembered_file_by_file() -> None:
    """With the fact that erased it and why; the claim goes on naming the file."""
    plant = filed_plant()
    entered = plant.submit(blob_erasure(PHOTO.digest, "9" * 64))
    rows = [ErasedBlob(digest=digest, address=entered.address, basis="request", reason="asked")
            for digest in (PHOTO.digest, "9" * 64)]  # fmt: skip
    assert rows == plant.tables.listed()["ErasedBlob"]
    nodes = {f"blob:{PHOTO.digest}", f"blob:{'9' * 64}"}
    assert nodes == {row.node for row in plant.tables.where(About, "address", entered.address)}
    assert 1 == len(plant.tables.where(ClaimEvidence, "digest", PHOTO.digest))


@pytest.mark.parametrize(
    ("blobs", "error", "where", "word"),
    [
        ((RULEBOOK,), RuleStands, "blobs[0]", "rulebook"),
        ((PHOTO.digest, CHECKLIST), RuleStands, "blobs[1]", "checklist"),
        ((TERMS,), RuleStands, "blobs[0]", "warranty terms"),
        (("e" * 64,), UnknownSubject, "blobs[0]", "no claim names one"),
        ((PHOTO.digest, PHOTO.digest), Contradiction, "blobs", "twice"),
    ],
    ids=["rulebook", "one of them a checklist", "terms", "no file", "twice"],
)
def test_what_cannot_be_erased_is_refused(
    blobs: tuple[str, ...], error: type[Exception], where: str, word: str
) -> None:
    """What others rest on stays, though a claim names it too; the refusal names the file and the mend."""
    refusal = filed_plant().refused(blob_erasure(*blobs))
    assert (error, where) == (type(refusal), refusal.where)
    assert word in str(refusal)


def test_a_file_is_erased_once() -> None:
    """The second erasure names the first; nothing corrects it."""
    plant = filed_plant()
    first = plant.submit(blob_erasure(PHOTO.digest))
    refusal = plant.refused(blob_erasure(RECEIPT.digest, PHOTO.digest))
    assert (Contradiction, "blobs[1]") == (type(refusal), refusal.where)
    assert first.address in refusal.problem
    undone = Correction(at=at(121), reason="changed-mind", changes=(Change(fact=first.address),))
    assert Contradiction is type(plant.refused(undone))


def test_a_file_that_no_claim_names_any_more_can_be_erased() -> None:
    """A photo of the wrong person is corrected away, and is still stored."""
    plant, _ = sold_plant()
    first = plant.submit(opened(unit="U-1", evidence=(PHOTO,)))
    plant.submit(Correction(at=at(101), reason="other-claim", changes=(
        Change(fact=first.address, replacement=opened(unit="U-1")),
    )))  # fmt: skip
    assert UnknownSubject is type(plant.refused(blob_erasure(PHOTO.digest)))
    plant.blobs.add(PHOTO.digest)
    assert [] == plant.submit(blob_erasure(PHOTO.digest)).codes
