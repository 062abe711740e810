"""Entry 0 and the keys of the book."""

from __future__ import annotations

import pytest

from ledger.book.key_terms import verifiers_at
from ledger.book.signing import format_verifier, parse_verifier, signer_from_seed
from ledger.errors import Contradiction, MalformedKey, MalformedRecord, RuleStands, UnknownSubject
from ledger.line.book_keys import BookOpened, KeyIntroduced, KeyRevoked, checkpoint_terms
from ledger.line.corrections import Change, Correction
from ledger.line.rows import BookKey
from tests.line.making import at, material
from tests.line.plant import ORIGIN, Plant


def line(name: str, digit: bytes = b"") -> str:
    """The verifier line of an invented key."""
    return format_verifier(signer_from_seed(name, (digit or name[-1:].encode()) * 32).verifier)


def key_of(verifier: str) -> str:
    """The row's key: name and key id."""
    parsed = parse_verifier(verifier)
    return f"{parsed.name}+{parsed.key_id.hex()}"


OPENED = BookOpened(at=at(1), origin=ORIGIN, plant="Example Works", verifier=line(ORIGIN))
STATION = KeyIntroduced(at=at(1), key="station-1", purpose="station", verifier=line("station-1"), station="ENGRAVE-1")


def test_the_first_entry_states_the_first_key() -> None:
    """It speaks from size 0 on."""
    plant = Plant()
    plant.submit(OPENED)
    assert ("checkpoint", 0, None) == (
        plant.row(BookKey, key_of(OPENED.verifier)).purpose,
        plant.row(BookKey, key_of(OPENED.verifier)).from_size,
        plant.row(BookKey, key_of(OPENED.verifier)).to_size,
    )


def test_a_book_is_opened_once() -> None:
    """By entry 0, first record."""
    plant = Plant()
    plant.submit(material("RESIN"))
    with pytest.raises(Contradiction):
        plant.submit(OPENED)


def test_a_key_speaks_from_its_entry_until_it_is_revoked() -> None:
    """Effective by tree size."""
    plant = Plant()
    plant.submit(OPENED)
    plant.submit(STATION)
    plant.submit(material("RESIN"))
    plant.submit(KeyRevoked(at=at(2), key="station-1", reason="stolen"))
    assert (2, 3) == (
        plant.row(BookKey, key_of(STATION.verifier)).from_size,
        plant.row(BookKey, key_of(STATION.verifier)).to_size,
    )
    refusal = plant.refused(KeyRevoked(at=at(2), key="station-1", reason="stolen"))
    assert (Contradiction, "key") == (type(refusal), refusal.where)


def test_a_key_is_introduced_once_under_its_own_name() -> None:
    """Known already, another name in its line, or no verifier line at all."""
    plant = Plant()
    plant.submit(STATION)
    assert (Contradiction, "key") == (type(plant.refused(STATION)), plant.refused(STATION).where)
    other = KeyIntroduced(at=at(1), key="station-2", purpose="station", verifier=line("station-1"))
    assert (Contradiction, "verifier") == (type(plant.refused(other)), plant.refused(other).where)
    with pytest.raises(MalformedKey):
        plant.submit(KeyIntroduced(at=at(1), key="station-3", purpose="station", verifier="no line"))
    unknown = plant.refused(KeyRevoked(at=at(2), key="station-9", reason="stolen"))
    assert (UnknownSubject, "key") == (type(unknown), unknown.where)


NEXT = KeyIntroduced(at=at(2), key=ORIGIN, purpose="checkpoint", verifier=line(ORIGIN, b"8"))


def speaking(plant: Plant, size: int) -> list[str]:
    """The verifier lines that may sign a checkpoint of a size."""
    rows = [plant.row(BookKey, key_of(known)) for known in (OPENED.verifier, NEXT.verifier)]
    return [format_verifier(key) for key in verifiers_at(checkpoint_terms(rows), size)]


def test_a_key_takes_over_under_the_same_name() -> None:
    """Between introduction and revocation both speak; before and after, one each."""
    plant = Plant()
    plant.submit(OPENED)
    plant.submit(NEXT)
    plant.submit(material("RESIN"))
    plant.submit(KeyRevoked(at=at(3), key=ORIGIN, id=key_of(OPENED.verifier)[-8:], reason="rotated"))
    old, new = OPENED.verifier, NEXT.verifier
    assert [[old], [old, new], [old, new], [new]] == [speaking(plant, size) for size in (1, 2, 3, 4)]


def test_a_revocation_says_which_of_two_keys_it_means() -> None:
    """With two of one name a bare name is refused, and another id is of no key."""
    plant = Plant()
    plant.submit(OPENED)
    plant.submit(NEXT)
    unsaid = plant.refused(KeyRevoked(at=at(3), key=ORIGIN, reason="rotated"))
    assert (MalformedRecord, "id") == (type(unsaid), unsaid.where)
    unknown = plant.refused(KeyRevoked(at=at(3), key=ORIGIN, id="00000000", reason="rotated"))
    assert (UnknownSubject, "key") == (type(unknown), unknown.where)


def test_a_book_keeps_a_key_that_signs() -> None:
    """The last checkpoint key is not revoked; nor is a checkpoint key taken under another name than the book's."""
    plant = Plant()
    plant.submit(OPENED)
    refusal = plant.refused(KeyRevoked(at=at(2), key=ORIGIN, reason="stolen"))
    assert (RuleStands, "key") == (type(refusal), refusal.where)
    other = KeyIntroduced(at=at(2), key="elsewhere", purpose="checkpoint", verifier=line("elsewhere"))
    assert (Contradiction, "key") == (type(plant.refused(other)), plant.refused(other).where)


def test_one_key_has_one_purpose() -> None:
    """Neither another purpose under a known name, nor a known public key under another."""
    plant = Plant()
    plant.submit(OPENED)
    plant.submit(STATION)
    renamed = KeyIntroduced(at=at(2), key="station-1", purpose="witness", verifier=line("station-1", b"9"))
    assert (Contradiction, "purpose") == (type(plant.refused(renamed)), plant.refused(renamed).where)
    reused = KeyIntroduced(at=at(2), key="other", purpose="dossier", verifier=line("other", STATION.key[-1:].encode()))
    assert (Contradiction, "key") == (type(plant.refused(reused)), plant.refused(reused).where)


def test_a_key_record_is_not_corrected() -> None:
    """Signed trees rest on it; a key is revoked instead."""
    plant = Plant()
    plant.submit(OPENED)
    plant.submit(STATION)
    refusal = plant.refused(Correction(at=at(2), changes=(Change(fact="1.0"),), reason="typed-wrong"))
    assert (RuleStands, "changes[0].fact") == (type(refusal), refusal.where)
