"""A book is created once, opened whole, and knows who speaks to it."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.application.creating import create_book
from ledger.application.pourbook import Pourbook
from ledger.errors import Contradiction, Forbidden, StoreDamaged, Unauthenticated, WriterStopped
from tests.application.floor import ORIGIN, Floor, engraved, floor_signers
from tests.plant import said


def create(url: str) -> str:
    """Create the floor's book at an address; the keeper's account."""
    return create_book(url, origin=ORIGIN, plant="Plant", signers=floor_signers(), keeper="Keeper").account.account


def test_a_book_is_created_once(tmp_path: Path) -> None:
    """A store that holds a book takes no second one, and the first is as it was."""
    url = f"sqlite:///{tmp_path / 'book.db'}"
    assert create(url).startswith("a-")
    with pytest.raises(Contradiction, match="holds a book already"):
        create(url)


def test_entry_0_opens_the_book_and_introduces_its_keys(floor: Floor) -> None:
    """Origin, plant and checkpoint key come first, and the dossier key with them."""
    opened, introduced = floor.book.entry(0).entry["said"]["records"]
    assert ("book-opened", ORIGIN, "Plant") == (opened["kind"], opened["origin"], opened["plant"])
    assert ("key-introduced", "dossier", f"{ORIGIN}/dossier") == (
        introduced["kind"], introduced["purpose"], introduced["key"],
    )  # fmt: skip


def test_a_token_speaks_for_its_account(floor: Floor) -> None:
    """Account and roles are those that were opened; no other token, and no unknown role, is taken."""
    account, token = floor.book.open_account("Someone", ("station", "desk"))
    assert (account, ("desk", "station")) == (floor.book.account_of(token), account.roles)
    with pytest.raises(Unauthenticated):
        floor.book.account_of(token + "x")
    with pytest.raises(Forbidden):
        floor.book.open_account("Someone", ("emperor",))


def test_a_store_without_its_serial_key_is_not_served(floor: Floor) -> None:
    """Numbers would come out of another permutation, so the service does not start."""
    other: Pourbook = floor.opened()
    with floor.book.store.writing() as transaction:
        transaction.run('DELETE FROM "setting" WHERE "name" = \'serial-key\'')
    with pytest.raises(StoreDamaged, match="serial key"):
        other.start()
    other.store.close()


def test_a_closed_book_takes_nothing(floor: Floor) -> None:
    """What is said after the end is refused, and the book says that it takes nothing."""
    other = floor.opened()
    other.start()
    taken = [other.takes_submissions]
    other.close()
    assert [True, False] == [*taken, other.takes_submissions]
    with pytest.raises(WriterStopped):
        other.submit(said("late", engraved("U-1", "P-1")), floor.lead)


def test_a_rebuild_changes_nothing(ready: Floor) -> None:
    """Views made anew from the entries tell the same of a ball."""
    ready.ball("U-1", "P-1")
    before = ready.book.ball("U-1")
    assert ready.book.check().entries == ready.book.rebuild()
    assert before == ready.book.ball("U-1")


def test_nobody_says_what_is_not_of_his_role(ready: Floor) -> None:
    """An auditor enters nothing."""
    auditor, _ = ready.book.open_account("Auditor", ("auditor",))
    with pytest.raises(Forbidden):
        ready.book.submit(said("no", engraved("U-1", "P-1")), auditor)
