"""What is asked of the files and notes of claim records before they are queued."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest

from ledger.application.said_evidence import check_said_evidence
from ledger.application.said_first import is_looked_at
from ledger.book.canonical import encode
from ledger.book.sealed_field import Opening, seal
from ledger.errors import RuleStands, UnknownSubject
from ledger.line.submission import Signed, Submission
from ledger.store.blobs import put_blob
from tests.application.files import PDF, SCRIPT
from tests.application.floor import ORIGIN, Floor, at, claimed, corrected, engraved, record
from tests.plant import said

PAPER = hashlib.sha256(PDF).hexdigest()
PAGE = hashlib.sha256(SCRIPT).hexdigest()


@pytest.fixture
def desk(tmp_path: Path) -> Any:
    """A plant with a claim, a paper and a page of the web among its files."""
    made = Floor(tmp_path)
    put_blob(made.book.store, PDF, "application/pdf")
    put_blob(made.book.store, SCRIPT, "text/html")
    made.say(claimed("C-1"))
    yield made
    made.book.close()


def goodwill(**fields: Any) -> dict[str, Any]:
    """A decision by goodwill."""
    decided = {"kind": "claim-decided", "at": at(310), "claim": "C-1", "decision": "goodwill", "reason": "goodwill"}
    return {**decided, **fields}


def test_every_record_that_names_a_file_is_asked(desk: Floor) -> None:
    """Opened, examined, replied, and each of them in a correction; the refusal says where."""
    page, nothing = {"digest": PAGE, "what": "receipt"}, {"digest": "0" * 64, "what": "other"}
    told = {"kind": "claim-examined", "at": at(301), "claim": "C-1", "findings": ["void"]}
    reply = {"kind": "claim-replied", "at": at(302), "claim": "C-1"}
    wrong: list[tuple[dict[str, Any], type[Exception], str]] = [
        (claimed("C-2", evidence=[page]), RuleStands, "records[0].evidence[0]"),
        ({**told, "evidence": [{"digest": PAPER, "what": "photo"}, nothing]}, UnknownSubject, "records[0].evidence[1]"),
        ({**reply, "letter": PAGE}, RuleStands, "records[0].letter"),
        (
            corrected({"fact": "1.0", "replacement": claimed("C-1", evidence=[page])}),
            RuleStands,
            "records[0].changes[0].replacement.evidence[0]",
        ),
    ]
    for one, error, where in wrong:
        with pytest.raises(error) as refusal:
            desk.say(one)
        assert (where, True) == (refusal.value.where, bool(refusal.value.mend))  # type: ignore[attr-defined]  # ours
    desk.say({**told, "evidence": [{"digest": PAPER, "what": "drilling-sheet"}, {"digest": PAGE, "what": "other"}]})
    desk.say({**reply, "letter": PAPER})


def test_goodwill_needs_a_note_of_who(desk: Floor) -> None:
    """It is looked for before it is sealed, in a correction too; other decisions need none."""
    with pytest.raises(RuleStands) as refusal:
        desk.say(goodwill())
    assert ("records[0].note", "common practice" in refusal.value.problem) == (refusal.value.where, True)
    entered = desk.say(goodwill(note="granted by the head of the desk"))
    with pytest.raises(RuleStands) as refusal:
        desk.say(corrected({"fact": entered.addresses[0], "replacement": goodwill()}))
    assert "records[0].changes[0].replacement.note" == refusal.value.where
    desk.say(corrected({"fact": entered.addresses[0], "replacement": goodwill(note="granted by another")}))


def test_a_corrected_claim_goes_on_naming_what_was_erased(desk: Floor) -> None:
    """Another fact may not name it any more."""
    paper = [{"digest": PAPER, "what": "receipt"}]
    first = desk.say(claimed("C-2", evidence=paper))
    erased = {"kind": "blob-erasure", "at": at(305), "blobs": [PAPER], "basis": "request", "reason": "asked"}
    desk.say(erased)
    desk.say(corrected({"fact": first.addresses[0], "replacement": claimed("C-2", evidence=paper, proof="receipt")}))
    other = desk.say(claimed("C-3"))
    for one in (
        claimed("C-4", evidence=paper),
        corrected({"fact": other.addresses[0], "replacement": claimed("C-3", evidence=paper)}),
    ):
        with pytest.raises(RuleStands, match="was erased"):
            desk.say(one)


def test_what_a_station_signed_is_asked_by_its_openings(desk: Floor) -> None:
    """The note stands among the openings of the signed bytes."""
    note = Opening(path="0/note", salt=bytes(32), value="granted by a person")
    sealed = {"sealed": seal(note.path, note.value, note.salt)}
    for openings, body in (((note,), goodwill(note=sealed)), ((), goodwill())):
        signed = Signed(said=encode({"book": ORIGIN, "key": "k", "records": [body]}), envelope="", openings=openings)
        submission = Submission(key="k", records=(record(goodwill()),), signed=signed)
        if openings:
            check_said_evidence(desk.book.store, submission, desk.lead)
        else:
            with pytest.raises(RuleStands):
                check_said_evidence(desk.book.store, submission, desk.lead)


def test_other_records_ask_nothing() -> None:
    """A registration costs no look into the store."""
    assert not is_looked_at(said("x", engraved("U-1", "P-1")).records)
    assert is_looked_at(said("x", claimed("C-1")).records)
    assert is_looked_at(said("x", corrected({"fact": "1.0"})).records)
