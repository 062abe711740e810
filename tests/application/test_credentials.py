"""Credentials out of the book: by a key that it knows, under a head that covers the facts."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.application.credentials import Issuer, ball_credential, issuer_document, issuer_of
from ledger.application.one_sheet import one_sheet
from ledger.book.checkpoint import parse_checkpoint, sign_checkpoint
from ledger.book.entry import read_entry
from ledger.book.signing import Signer, format_verifier, signer_from_seed
from ledger.errors import NotFound, RuleStands, Unsupported
from ledger.evidence.credential import pinned_contexts
from ledger.evidence.credential_check import check_credential, parse_credential
from ledger.evidence.did_web import parse_did_document
from ledger.evidence.multibase import format_multikey
from ledger.evidence.own_terms import terms_address
from ledger.store.reader import open_reader
from tests.application.floor import Floor, at, corrected, floor_signers, inspected

STEM, DID = "https://id.example.com", "did:web:id.example.com"


def key(number: int) -> Signer:
    """A key for credentials."""
    return signer_from_seed("book.floor.test/credential", bytes([number]) * 32, "credential")


def introduced(signer: Signer) -> dict[str, object]:
    """That a key may sign credentials."""
    said = {"kind": "key-introduced", "at": at(60), "key": signer.name, "purpose": "credential"}
    return {**said, "verifier": format_verifier(signer.verifier)}


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant with two balls and a key for credentials."""
    one = Floor(tmp_path)
    one.line()
    one.ball("U-1", "A121")
    one.ball("U-2", "A122", readings={"mass": "17.5"})
    one.say(introduced(key(1)))
    yield one
    one.book.close()


def issued(floor: Floor, unit: str = "U-1", signer: Signer | None = None) -> bytes:
    """The credential of a ball under the newest checkpoint."""
    note = floor.book.checkpoint()
    with open_reader(floor.book.store) as reader:
        return ball_credential(reader, unit, Issuer(STEM, DID, signer or key(1)), note)


def document(floor: Floor) -> bytes:
    """The issuer's document at the newest size."""
    with open_reader(floor.book.store) as reader:
        return issuer_document(reader, DID, reader.head().size)


def test_a_credential_checks_with_the_issuer_s_document(floor: Floor) -> None:
    """And says what the sheet says, for good or ill."""
    contexts = pinned_contexts(terms_address(STEM))
    for unit, overall in (("U-1", "conforms"), ("U-2", "does_not_conform")):
        secured = parse_credential(issued(floor, unit))
        said = check_credential(secured, parse_did_document(document(floor)), contexts, at_ms=floor.now_ms)
        assert [overall] == [one["pb:overall"] for one in said["credentialSubject"]["pb:judgements"]]


def test_it_is_valid_from_the_newest_entry_that_it_rests_on(floor: Floor) -> None:
    """Not from a later one about something else."""
    plain = json.loads(issued(floor))
    with open_reader(floor.book.store) as reader:
        facts = one_sheet(reader, "U-1").sheet.facts
        entered = read_entry(reader.entry(int(facts[-1].fact.partition(".")[0])).bytes).recorded_at
    assert entered == plain["validFrom"]
    assert plain["evidence"][0]["pb:facts"] == [line.fact for line in facts]


def test_a_later_correction_gives_another_credential(floor: Floor) -> None:
    """The earlier one stays as it was signed; who asks again is told what holds now."""
    before = json.loads(issued(floor))
    fact = before["evidence"][0]["pb:facts"][-1]
    floor.say(corrected({"fact": fact, "replacement": inspected("U-1", 71, mass="17.9")}))
    after = json.loads(issued(floor))
    assert before["id"] != after["id"]
    overall = [one["credentialSubject"]["pb:judgements"][0]["pb:overall"] for one in (before, after)]
    assert ["conforms", "does_not_conform"] == overall


def test_a_key_that_was_not_introduced_signs_nothing(floor: Floor) -> None:
    """Nor one that was revoked, nor one for dossiers."""
    with pytest.raises(RuleStands, match="does not speak"):
        issued(floor, signer=key(2))
    with pytest.raises(RuleStands, match="does not speak"):
        issued(floor, signer=floor_signers().dossier)
    floor.say({"kind": "key-revoked", "at": at(80), "key": key(1).name, "reason": "rotation"})
    with pytest.raises(RuleStands, match="does not speak"):
        issued(floor)


def test_a_key_takes_over_from_another(floor: Floor) -> None:
    """While both speak both stand in the document; then the new one alone."""
    floor.say(introduced(key(2)))
    assert 2 == len(parse_did_document(document(floor)).keys)
    issued(floor, signer=key(2))
    old = key(1).verifier.key_id.hex()
    floor.say({"kind": "key-revoked", "at": at(80), "key": key(1).name, "id": old, "reason": "rotation"})
    [left] = parse_did_document(document(floor)).keys
    assert format_multikey(key(2).verifier.public) == left.public


def test_without_a_key_there_is_nothing(tmp_path: Path) -> None:
    """Neither a credential nor a document."""
    with pytest.raises(Unsupported, match="gives no credentials"):
        issuer_of(STEM, "", None)
    floor = Floor(tmp_path)
    with pytest.raises(NotFound, match="no key for credentials"):
        document(floor)
    floor.book.close()


def test_the_issuer_is_the_host_of_labels_unless_another_is_named() -> None:
    """As the settings have it."""
    assert DID == issuer_of("id.example.com", "", key(1)).did
    assert "did:web:other.example" == issuer_of("id.example.com", "did:web:other.example", key(1)).did


def test_a_ball_without_number_has_none(floor: Floor) -> None:
    """There would be nobody to say it of; and a ball that is not there has no sheet."""
    floor.say({"kind": "unit-started", "at": at(70), "unit": "U-9", "lot": "SL-1", "station": "T-1"})
    with pytest.raises(NotFound, match="bears no number"):
        issued(floor, "U-9")
    with pytest.raises(NotFound):
        issued(floor, "U-404")


def test_a_head_that_does_not_cover_the_facts_is_refused(floor: Floor) -> None:
    """Nothing is said of what a reader could not look up."""
    size = parse_checkpoint(floor.book.checkpoint()).tree_size
    floor.say(inspected("U-1", 90, mass="15.2"))
    old = sign_checkpoint("book.floor.test", size, bytes(32), [floor_signers().checkpoint])
    with open_reader(floor.book.store) as reader, pytest.raises(NotFound, match="no checkpoint covers"):
        ball_credential(reader, "U-1", Issuer(STEM, DID, key(1)), old)
