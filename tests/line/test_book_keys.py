"""Entry 0 and the keys of the book."""

from __future__ import annotations

import pytest

from ledger.book.signing import format_verifier, signer_from_seed
from ledger.errors import Contradiction, MalformedKey, UnknownSubject
from ledger.line.book_keys import BookOpened, KeyIntroduced, KeyRevoked
from ledger.line.rows import BookKey
from tests.line.making import at, material
from tests.line.plant import ORIGIN, Plant


def line(name: str) -> str:
    """The verifier line of an invented key."""
    return format_verifier(signer_from_seed(name, b"7" * 32).verifier)


OPENED = BookOpened(at=at(1), origin=ORIGIN, plant="Example Works", verifier=line(ORIGIN))
STATION = KeyIntroduced(at=at(1), key="station-1", purpose="station", verifier=line("station-1"), station="ENGRAVE-1")


def test_the_first_entry_states_the_first_key() -> None:
    """It speaks from size 0 on."""
    plant = Plant()
    plant.submit(OPENED)
    assert ("checkpoint", 0, None) == (
        plant.row(BookKey, ORIGIN).purpose,
        plant.row(BookKey, ORIGIN).from_size,
        plant.row(BookKey, ORIGIN).to_size,
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
    assert (2, 3) == (plant.row(BookKey, "station-1").from_size, plant.row(BookKey, "station-1").to_size)
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
