"""Events and credentials of one book are the same bytes on every database, whichever it was written on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial
from pathlib import Path

import pytest

from ledger.application.credentials import Issuer, ball_credential, issuer_document
from ledger.application.epcis import lot_events, serial_events
from ledger.evidence.event_shapes import parse_events
from ledger.evidence.withholding import Withholding
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from tests.application.floor import Floor
from tests.application.test_credentials import DID, introduced, key
from tests.application.told_plant import STEM, told_plant
from tests.stores import copied_book, fresh_database, fresh_file

TOLD: Mapping[str, tuple[str, ...]] = {"closed": (), "opened": ("withheld",)}
SERIALS = ("A129", "A122", "A126", "A127", "A123")
LOTS = ("SL-1", "CL-2", "BL-2", "DRUM")
UNITS = ("U-1", "U-2", "U-7")


@pytest.fixture
def plant(url: str, tmp_path: Path) -> Iterator[Floor]:
    """The plant in which everything happened, and a key for credentials."""
    floor = told_plant(tmp_path, url)
    floor.say(introduced(key(1)))
    yield floor
    floor.book.close()


@pytest.fixture
def other(plant: Floor, url: str, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Store]:
    """The same book on the other database."""
    was_file = url.startswith("sqlite")
    copy = copied_book(
        plant.book.store, fresh_database(request.getfixturevalue("postgres")) if was_file else fresh_file(tmp_path)
    )
    assert copy.dialect.name != plant.book.store.dialect.name
    yield copy
    copy.close()


def handed_over(store: Store, note: bytes) -> dict[str, bytes]:
    """Every history and credential that is asked for here, by what it is."""
    found: dict[str, bytes] = {}
    with open_reader(store) as reader:
        for told, opened in TOLD.items():
            closed = Withholding(opened=opened)
            found |= {f"{serial}, {told}": serial_events(reader, serial, STEM, closed) for serial in SERIALS}
            found |= {f"{lot}, {told}": lot_events(reader, lot, STEM, closed) for lot in LOTS}
        credential = partial(ball_credential, reader, issuer=Issuer(STEM, DID, key(1)), note=note)
        found |= {f"credential of {unit}": credential(unit) for unit in UNITS}
        found["issuer"] = issuer_document(reader, DID, reader.head().size)
    return found


def test_histories_and_credentials_are_the_same_bytes_on_every_database(plant: Floor, other: Store) -> None:
    """Balls and lots, with what is withheld closed and opened; credentials under one head; the issuer's document."""
    note = plant.book.checkpoint()
    with open_reader(plant.book.store) as one, open_reader(other) as copy:
        # The writer stores its newest note in a quiet moment, which may come after the copy.
        assert one.head()._replace(checkpoint=None) == copy.head()._replace(checkpoint=None)

    here, there = handed_over(plant.book.store, note), handed_over(other, note)

    assert here == there
    assert b"Acme" not in here["A129, closed"]
    assert b"Acme" in here["A129, opened"]
    assert 20 < len(parse_events(here["A129, closed"]).body.events)
