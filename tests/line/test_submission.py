"""Submissions: sealing, what checks see of them, and those that a station signed itself."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from ledger.book.canonical import decode, encode
from ledger.book.sealed_field import Opening, seal
from ledger.errors import LedgerError, MalformedRecord, SealedFieldMismatch
from ledger.line.claims import ClaimOpened
from ledger.line.corrections import Change, Correction
from ledger.line.materials import MaterialReceived
from ledger.line.submission import Sealed, Signed, Submission, open_records, request_bytes, said_kinds, seal_submission
from tests.line.making import at, batch, material

BOOK = "plant.example/balls"
NOTED = material("RESIN", supplier="Example Chemicals", note="drum was dented")


def salts(count: int) -> list[bytes]:
    """Salts that are all alike, for tests only."""
    return [b"s" * 32] * count


def sealed(*records: Any) -> Sealed:
    """The records as they would stand."""
    return seal_submission(BOOK, Submission(key="k-1", records=records), salts)


def values(found: Sealed) -> dict[str, object]:
    """The openings by path."""
    return {opening.path: opening.value for opening in found.openings}


def test_sealed_fields_are_not_in_the_bytes() -> None:
    """Their commitments are, and the openings carry the values."""
    found = sealed(NOTED)
    assert b"Example Chemicals" not in found.said
    assert b"dented" not in found.said
    assert {"0/supplier": "Example Chemicals", "0/note": "drum was dented"} == values(found)
    assert {"0/supplier": "withheld", "0/note": "erasable"} == dict(zip(values(found), found.sealings, strict=True))


def test_an_erasable_field_never_reaches_a_check() -> None:
    """It is taken out before check and view; the withheld one stays. In a replacement too."""
    claim = ClaimOpened(at=at(1), claim="C-1", mode="other", claimant="a person", note="angry")
    replaced = Correction(at=at(1), reason="x", changes=(Change(fact="0.0", replacement=NOTED),), note="sorry")
    found = sealed(NOTED, claim, replaced)
    texts = msgspec.json.encode(found.records).decode()
    assert "Example Chemicals" in texts
    assert [] == [word for word in ("dented", "a person", "angry", "sorry") if word in texts]


def test_records_read_back_are_those_that_were_checked() -> None:
    """From the bytes and the withheld openings alone: erasing the others changes nothing."""
    replaced = Correction(at=at(1), reason="x", changes=(Change(fact="0.0", replacement=NOTED),))
    found = sealed(NOTED, batch("MIX", ("RESIN", "1.5"), note="x"), replaced)
    kept = {
        path: value
        for (path, value), sealing in zip(values(found).items(), found.sealings, strict=True)
        if sealing == "withheld"
    }
    said: Any = decode(found.said)
    assert found.records == open_records(said, kept)


def test_a_withheld_field_without_its_opening_cannot_be_read() -> None:
    """The store has lost something."""
    said: Any = decode(sealed(NOTED).said)
    with pytest.raises(MalformedRecord) as refusal:
        open_records(said, {})
    assert "0/supplier" == refusal.value.where


def test_a_stored_record_that_no_longer_fits_is_named() -> None:
    """Its position, and no low-level error."""
    with pytest.raises(MalformedRecord) as refusal:
        open_records({"records": [{"kind": "material-received"}]}, {})
    assert "0" == refusal.value.where
    with pytest.raises(MalformedRecord) as refusal:
        open_records({"records": [{"kind": "drum"}]}, {})
    assert "records[0].kind" == refusal.value.where


def test_the_request_is_compared_by_its_clear_records() -> None:
    """Two sealings of one request are one request."""
    one, other = (Submission(key="k-1", records=(record,)) for record in (NOTED, material("RESIN")))
    assert request_bytes(one) == request_bytes(Submission(key="k-1", records=(NOTED,)))
    assert request_bytes(one) != request_bytes(other)


def signed(said: bytes, openings: tuple[Opening, ...], key: str = "k-1") -> Sealed:
    """What the line makes of a submission that a station sealed and signed."""
    submission = Submission(key=key, records=(NOTED,), signed=Signed(said=said, envelope="{}", openings=openings))
    return seal_submission(BOOK, submission, salts)


def test_a_station_seals_by_itself() -> None:
    """The bytes stand as they were signed; checks see the same records; the request is those bytes."""
    own = sealed(NOTED)
    found = signed(own.said, own.openings)
    assert (own.said, own.records, own.sealings) == (found.said, found.records, found.sealings)
    assert own.said == request_bytes(
        Submission(key="k-1", records=(NOTED,), signed=Signed(said=own.said, envelope="{}", openings=own.openings))
    )


def _bytes(**fields: Any) -> bytes:
    return encode({"book": BOOK, "key": "k-1", "records": [], **fields})


OWN = sealed(NOTED)
CLEAR = msgspec.to_builtins(NOTED)


@pytest.mark.parametrize(
    ("said", "openings", "error"),
    [
        (encode([1]), (), MalformedRecord),
        (_bytes(book="other"), (), MalformedRecord),
        (_bytes(key="k-2"), (), MalformedRecord),
        (encode({"book": BOOK, "key": "k-1"}), (), MalformedRecord),
        (_bytes(records=5), (), MalformedRecord),
        (_bytes(records=[5]), (), MalformedRecord),
        (_bytes(records=[{"kind": "drum"}]), (), MalformedRecord),
        (_bytes(records=[{"kind": 5}]), (), MalformedRecord),
        (_bytes(records=[{"kind": []}]), (), MalformedRecord),
        (_bytes(records=[CLEAR]), (), MalformedRecord),
        (_bytes(records=[{"kind": "batch-mixed", "draws": 5}]), (), MalformedRecord),
        (_bytes(records=[{"kind": "batch-mixed", "draws": [5]}]), (), MalformedRecord),
        (_bytes(records=[{"kind": "correction", "changes": [{"fact": "0.0", "replacement": 5}]}]), (), MalformedRecord),
        (_bytes(records=[{**CLEAR, "supplier": {"sealed": seal("0/supplier", "x", b"s" * 32)},
                          "note": {"sealed": seal("0/note", [5], b"s" * 32)}}]),
         (Opening(path="0/supplier", salt=b"s" * 32, value="x"), Opening(path="0/note", salt=b"s" * 32, value=[5])),
         MalformedRecord),
        (_bytes(extra=1), (), MalformedRecord),
        (OWN.said, OWN.openings[:1], MalformedRecord),
        (OWN.said, (*OWN.openings, Opening(path="0/lot", salt=b"s" * 32, value="x")), MalformedRecord),
        (OWN.said, (Opening(path="0/supplier", salt=b"s" * 32, value="x"), *OWN.openings[1:]), SealedFieldMismatch),
        (_bytes(records=[{**CLEAR, "supplier": {"sealed": seal("0/supplier", 5, b"s" * 32)}, "note": {"sealed": "x"}}]),
         (Opening(path="0/supplier", salt=b"s" * 32, value=5),), LedgerError),
    ],
)  # fmt: skip
def test_what_a_station_signed_wrongly_is_refused(said: bytes, openings: Any, error: type[Exception]) -> None:
    """Another book or key, clear fields, missing, surplus or wrong openings, no records at all: only this project's errors."""
    with pytest.raises(error):
        signed(said, openings)


def test_the_kinds_are_those_of_what_will_stand() -> None:
    """Of the signed bytes, not of the records sent beside them."""
    other = sealed(ClaimOpened(at=at(1), claim="C-1", mode="other"))
    plain = Submission(key="k-1", records=(NOTED,))
    beside = Submission(key="k-1", records=(NOTED,), signed=Signed(said=other.said, envelope="{}"))
    assert (["material-received"], ["claim-opened"]) == (said_kinds(plain), said_kinds(beside))
    for wrong in (encode([1]), _bytes(records=5), _bytes(records=[{"kind": "drum"}])):
        with pytest.raises(MalformedRecord):
            said_kinds(Submission(key="k-1", records=(NOTED,), signed=Signed(said=wrong, envelope="{}")))


def test_a_submission_has_a_key_of_form_and_records() -> None:
    """Other keys, no records, and unknown fields are not read."""
    good = {"key": "k-1", "records": [CLEAR]}
    assert isinstance(msgspec.convert(good, Submission).records[0], MaterialReceived)
    for bad in ({**good, "key": ""}, {**good, "key": "a b"}, {**good, "records": []}, {**good, "extra": 1}):
        with pytest.raises(msgspec.ValidationError):
            msgspec.convert(bad, Submission)
