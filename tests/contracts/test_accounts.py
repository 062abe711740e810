"""Accounts, tokens, blobs and cosignatures: what lies beside the book."""

from __future__ import annotations

import hashlib

import pytest

from ledger.access.tokens import format_token, token_digest
from ledger.errors import NotFound, TooLarge
from ledger.store import accounts, blobs
from ledger.store.cosignatures import Cosignature, last_cosigned_size, put_cosignature, read_cosignatures
from ledger.store.engine import Store
from ledger.store.openings import erase_opening, openings_between
from ledger.store.writer import Writer
from tests.stores import every_row


def test_a_token_speaks_for_its_account(store: Store) -> None:
    """The account of a token has the roles that it was given, and each id is another."""
    one = accounts.add_account(store, "Engraver one", ["station", "inspector"], 5)
    other = accounts.add_account(store, "Desk", ["desk"], 6)
    token = accounts.issue_token(store, one.account, 7)
    assert (one, frozenset({"inspector", "station"})) == (accounts.account_of(store, token), one.roles)
    assert [one, other] == accounts.list_accounts(store)
    assert one.account != other.account


def test_a_token_is_not_stored(store: Store) -> None:
    """Only the SHA-256 of a token lies in the store."""
    account = accounts.add_account(store, "Engraver", ["station"], 5)
    token = accounts.issue_token(store, account.account, 7)
    assert token not in repr(every_row(store))
    assert [token_digest(token)] == accounts.list_tokens(store, account.account)


def test_revoked_tokens_closed_accounts_and_strangers_are_nobody(store: Store) -> None:
    """A token that was ended, one of a closed account, and one that was never made speak for nobody."""
    account = accounts.add_account(store, "Engraver", ["station"], 5)
    first, second = (accounts.issue_token(store, account.account, now) for now in (6, 7))
    accounts.revoke_token(store, token_digest(first), 8)
    assert (None, account) == (accounts.account_of(store, first), accounts.account_of(store, second))
    accounts.close_account(store, account.account, 9)
    assert (None, None) == (accounts.account_of(store, second), accounts.account_of(store, format_token(bytes(32))))
    for ask in (
        lambda: accounts.revoke_token(store, token_digest(first), 9),
        lambda: accounts.issue_token(store, account.account, 9),
        lambda: accounts.close_account(store, "a-none", 9),
    ):
        with pytest.raises(NotFound):
            ask()


def test_a_name_can_be_erased_and_roles_changed(store: Store) -> None:
    """The id stays, who it was does not."""
    account = accounts.add_account(store, "A person", ["station"], 5)
    accounts.set_roles(store, account.account, ["auditor", "quality"])
    accounts.erase_name(store, account.account)
    (found,) = accounts.list_accounts(store)
    assert (account.account, None, frozenset({"auditor", "quality"})) == (found.account, found.name, found.roles)
    assert "A person" not in repr(every_row(store))


def test_a_blob_is_found_by_its_digest(store: Store) -> None:
    """The same bytes are one blob; what is not stored is not found; what is too long is refused."""
    raw = bytes(range(256))
    blob = blobs.put_blob(store, raw, "image/png")
    assert blob == blobs.put_blob(store, raw, "image/png")
    assert (blob, hashlib.sha256(raw).hexdigest()) == (blobs.read_blob(store, blob.digest), blob.digest)
    with pytest.raises(NotFound):
        blobs.read_blob(store, "0" * 64)
    with pytest.raises(TooLarge):
        blobs.put_blob(store, bytes(blobs.MAX_BYTES + 1), "image/png")


def test_cosignatures_are_kept_by_size_and_witness(store: Store) -> None:
    """A witness has one line over a size, the last it sent."""
    for line, at in (("a", 1), ("b", 2)):
        put_cosignature(store, Cosignature(7, "w.test", line, at))
    put_cosignature(store, Cosignature(5, "v.test", "c", 3))
    assert ([Cosignature(7, "w.test", "b", 2)], 7) == (read_cosignatures(store, 7), last_cosigned_size(store))


def test_an_erased_opening_is_gone_and_a_withheld_one_stays(store: Store, writer: Writer) -> None:
    """Free text is erased for ever; a recipe's quantity is not erasable."""
    with store.reading() as transaction:
        found = openings_between(transaction, 0, 100)
    erasable, withheld = (next(one for one in found if one.sealing == sealing) for sealing in ("erasable", "withheld"))
    erase_opening(store, erasable.index, erasable.opening.path)
    for one in (erasable, withheld):
        with pytest.raises(NotFound):
            erase_opening(store, one.index, one.opening.path)
    with store.reading() as transaction:
        left = openings_between(transaction, 0, 100)
    assert [one for one in found if one != erasable] == left
    assert writer.checkpoint is not None
